// Zoom of the time axis, the words of what is pointed at, everything open in print. A page is complete
// without it.
#include "report/html/html_page.hpp"

namespace tramlog {

const char* const kHtmlScript = R"js(
'use strict';
addEventListener('beforeprint', () => { for (const d of document.querySelectorAll('details')) d.open = true; });

for (const day of document.querySelectorAll('.day')) {
  const from = Number(day.dataset.from), to = Math.max(Number(day.dataset.to), from + 1);
  const least = Math.min(50, to - from);
  let left = from, right = to;

  const steps = [1, 10, 100, 1e3, 2e3, 5e3, 1e4, 3e4, 6e4, 12e4, 3e5, 6e5, 18e5, 36e5, 72e5, 216e5, 432e5, 864e5];
  const clock = (t, step) => {
    const text = new Date(t).toISOString();
    const days = new Date(from).toDateString() !== new Date(to).toDateString();
    if (step >= 864e5) return text.slice(0, 10);
    if (step >= 6e4) return days ? text.slice(5, 10) + ' ' + text.slice(11, 16) : text.slice(11, 16);
    return step >= 1e3 ? text.slice(11, 19) : text.slice(14, 23);
  };
  const whole = [...day.querySelectorAll('.axis')].map((axis) => [axis, axis.cloneNode(true)]);

  const draw = () => {
    const all = left === from && right === to;
    const a = (left - from) / (to - from) * 1000, b = (right - from) / (to - from) * 1000;
    for (const svg of day.querySelectorAll('.lane svg')) svg.setAttribute('viewBox', a + ' 0 ' + (b - a) + ' 100');
    for (const [axis, first] of whole) {
      if (all) { axis.replaceChildren(...first.cloneNode(true).childNodes); continue; }
      const most = Math.max(2, Math.min(6, Math.floor(axis.clientWidth / 90)));
      const step = steps.find((s) => (right - left) / s <= most) || 864e5 * Math.ceil((right - left) / most / 864e5);
      axis.replaceChildren();
      for (let t = Math.ceil(left / step) * step; t <= right; t += step) {
        const line = document.createElement('span'), place = (t - left) / (right - left) * 100;
        line.style.left = place + '%';
        if (place < 100 - 8000 / axis.clientWidth) line.textContent = clock(t, step);
        axis.append(line);
      }
    }
    for (const [button, off] of [[wider, all], [back, all], [earlier, left <= from], [later, right >= to], [closer, right - left <= least]])
      button.setAttribute('aria-disabled', String(off));
  };
  const show = (a, b) => {
    const width = Math.min(Math.max(b - a, least), to - from);
    left = Math.round(Math.min(Math.max(a, from), to - width));
    right = Math.round(left + width);
    draw();
  };

  const bar = document.createElement('div'), told = document.createElement('output');
  bar.className = 'zoom';
  const button = (word, act) => {
    const made = document.createElement('button');
    made.type = 'button';
    made.textContent = word;
    made.addEventListener('click', () => { if (made.getAttribute('aria-disabled') !== 'true') act(right - left, (left + right) / 2); });
    bar.append(made);
    return made;
  };
  const closer = button('Closer', (w, m) => show(m - w / 4, m + w / 4));
  const wider = button('Wider', (w, m) => show(m - w, m + w));
  const earlier = button('Earlier', (w) => show(left - w / 2, right - w / 2));
  const later = button('Later', (w) => show(left + w / 2, right + w / 2));
  const back = button('Whole', () => show(from, to));
  told.textContent = 'Point at a picture for its words; draw across it to come closer.';
  bar.append(told);
  day.prepend(bar);

  const under = (event) => {
    const title = event.target.closest && event.target.closest('svg [class]');
    const words = title && title.querySelector('title');
    if (words) told.textContent = words.textContent;
  };
  let begin = null;
  const share = (svg, event) => {
    const box = svg.getBoundingClientRect();
    return left + Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1) * (right - left);
  };
  day.addEventListener('pointerover', under);
  day.addEventListener('click', under);
  day.addEventListener('pointerdown', (event) => {
    const svg = event.target.closest && event.target.closest('.lane svg');
    begin = svg && event.button === 0 ? { svg, x: event.clientX, time: share(svg, event) } : null;
  });
  addEventListener('pointerup', (event) => {
    if (begin && Math.abs(event.clientX - begin.x) > 12) {
      const end = share(begin.svg, event);
      show(Math.min(begin.time, end), Math.max(begin.time, end));
    }
    begin = null;
  });
  addEventListener('pointercancel', () => { begin = null; });
  draw();
}
)js";

const char* const kHtmlScriptHash = "sha256-tersKOTxytxeuiwFy+926Yy6+vt6PFxHTH1MV3kdyug=";

}  // namespace tramlog
