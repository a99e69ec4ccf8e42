// Opens pages in a headless browser as people would, and says what is wrong with them.
//
//   node inspect.mjs --browser PROGRAM --modules FOLDER [--pictures FOLDER] [--brief yes] PAGE.html..
//
// Every page at three widths, light and dark, then with the time axis zoomed, without script, and in print. One line a
// page: "passed NAME (what was measured)" or, for each kind of trouble, "failed NAME: KIND: what". Kinds: script,
// outside, overflow, clipped, overlap, access, size, zoom, plain, print. Brief: once small and light, once large and dark,
// and no more. Status 0: nothing failed.
import { createRequire } from 'node:module';
import { readFileSync, statSync, mkdirSync } from 'node:fs';
import { basename, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const kWidths = [360, 820, 1440];
const kSchemes = ['light', 'dark'];
const kMostBytes = 1_000_000;

const options = { pages: [] };
for (let i = 2; i < process.argv.length; ++i) {
  const word = process.argv[i];
  if (word.startsWith('--')) options[word.slice(2)] = process.argv[++i];
  else options.pages.push(word);
}
if (!options.browser || !options.modules || options.pages.length === 0) {
  console.error('usage: inspect.mjs --browser PROGRAM --modules FOLDER [--pictures FOLDER] PAGE.html..');
  process.exit(2);
}
const load = createRequire(join(resolve(options.modules), 'package.json'));
const puppeteer = load('puppeteer-core');
const axe = readFileSync(load.resolve('axe-core/axe.min.js'), 'utf8');
if (options.pictures) mkdirSync(options.pictures, { recursive: true });

// Runs in the page: text that leaves the page, that is cut off, that lies on other text.
function layoutTroubles() {
  const found = [];
  const room = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > room)
    found.push(['overflow', `the page is ${document.documentElement.scrollWidth} px wide in a window of ${room}`]);
  const boxes = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node; (node = walker.nextNode());) {
    if (!node.data.trim()) continue;
    const parent = node.parentElement;
    // Drawn by nobody: words for pointers and programs, and what only a screen reader is told.
    if (parent.closest('title, script, style, template') || !parent.checkVisibility()) continue;
    let clip = { left: -1e9, right: 1e9, top: -1e9, bottom: 1e9 }, hidden = false;
    for (let up = parent; up && up !== document.documentElement; up = up.parentElement) {
      const style = getComputedStyle(up);
      if (style.clipPath !== 'none' || style.visibility === 'hidden') hidden = true;
      if (style.overflowX === 'visible' && style.overflowY === 'visible') continue;
      if (up === document.body) continue;
      if (/auto|scroll/.test(style.overflowX + style.overflowY)) {
        if (up.tabIndex < 0) found.push(['clipped', `a scrolling ${up.tagName} that no keyboard reaches`]);
        break;
      }
      const box = up.getBoundingClientRect();
      clip = { left: Math.max(clip.left, box.left), right: Math.min(clip.right, box.right),
               top: Math.max(clip.top, box.top), bottom: Math.min(clip.bottom, box.bottom) };
    }
    if (hidden) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const r of range.getClientRects()) {
      if (r.width < 1 || r.height < 1) continue;
      const words = node.data.trim().slice(0, 40);
      if (r.left < clip.left - 1.5 || r.right > clip.right + 1.5 || r.top < clip.top - 3 || r.bottom > clip.bottom + 3)
        found.push(['clipped', `"${words}"`]);
      if (r.left < -1 || r.right > room + 1) found.push(['clipped', `"${words}" beyond the edge of the window`]);
      boxes.push({ left: r.left, right: r.right, top: r.top, bottom: r.bottom, words, node });
    }
  }
  boxes.sort((a, b) => a.top - b.top);
  let open = [];
  for (const box of boxes) {
    open = open.filter((o) => o.bottom > box.top + 3);
    for (const o of open)
      if (o.node !== box.node && Math.min(o.right, box.right) - Math.max(o.left, box.left) > 2 &&
          Math.min(o.bottom, box.bottom) - Math.max(o.top, box.top) > 4)
        found.push(['overlap', `"${o.words}" and "${box.words}"`]);
    open.push(box);
  }
  return found;
}

async function inspect(browser, file) {
  const name = basename(file, '.html');
  const troubles = new Map();  // kind: what, and how often
  const tell = (kind, what) => {
    const known = troubles.get(kind);
    if (known) ++known.count;
    else troubles.set(kind, { what: what.replace(/\s+/g, ' ').slice(0, 600), count: 1 });
  };
  const url = pathToFileURL(resolve(file)).href;
  const page = await browser.newPage();
  const listen = (p) => {
    p.on('pageerror', (error) => tell('script', String(error.message)));
    p.on('console', (message) => { if (message.type() === 'error') tell('script', message.text()); });
    p.on('dialog', (dialog) => { tell('script', 'a dialog: ' + dialog.message()); dialog.dismiss(); });
    p.on('request', (request) => { if (request.url() !== url && !request.url().startsWith(url + '#')) tell('outside', request.url()); });
  };
  listen(page);
  const bytes = statSync(file).size;
  if (bytes > kMostBytes) tell('size', `${bytes} bytes, more than ${kMostBytes}`);
  let drawn = 0;

  const views = options.brief ? [[360, 'light'], [820, 'dark']] : kWidths.flatMap((width) => kSchemes.map((scheme) => [width, scheme]));
  for (const [width, scheme] of views) {
    const where = `at ${width} px, ${scheme}: `;
    await page.emulateMediaFeatures([{ name: 'prefers-color-scheme', value: scheme }]);
    await page.setViewport({ width, height: 900, isMobile: width < 500, hasTouch: width < 500 });
    await page.goto(url, { waitUntil: 'load' });
    drawn = Math.max(drawn, await page.evaluate(() => new Promise((done) =>
      requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))))));
    if (options.pictures) await page.screenshot({ path: join(options.pictures, `${name}-${width}-${scheme}.png`), fullPage: true });
    await page.evaluate(() => { for (const d of document.querySelectorAll('details')) d.open = true; });
    for (const [kind, what] of await page.evaluate(layoutTroubles)) tell(kind, where + what);
    // Colours differ by scheme and not by width, the rest by width alone.
    const again = !options.brief && scheme === 'dark' && width !== kWidths[0];
    if (!again) {
      // By the debugger: the page's own policy lets no other script in.
      await page.evaluate(axe);
      const result = await page.evaluate(() => axe.run(document, { resultTypes: ['violations'] }));
      for (const v of result.violations)
        if (v.impact === 'serious' || v.impact === 'critical')
          tell('access', where + `${v.id}: ${v.help}: ${v.nodes[0].html.slice(0, 120)} ${(v.nodes[0].any[0] || {}).message || ''}`);
    }
    const zoomed = options.brief ? 'none' : await page.evaluate(() => {
      const day = document.querySelector('.day');
      if (!day) return 'none';
      const svg = day.querySelector('.lane svg'), before = svg.getAttribute('viewBox');
      const press = (word) => [...day.querySelectorAll('.zoom button')].find((b) => b.textContent === word).click();
      press('Closer');
      const during = svg.getAttribute('viewBox');
      if (during === before) return 'Closer changes nothing';
      press('Later');
      if (svg.getAttribute('viewBox') === during) return 'Later changes nothing';
      return '';
    });
    if (zoomed === '') {
      for (const [kind, what] of await page.evaluate(layoutTroubles)) tell(kind, where + 'zoomed: ' + what);
      if (options.pictures && scheme === 'light')
        await (await page.$('.day')).screenshot({ path: join(options.pictures, `${name}-${width}-zoomed.png`) });
      const same = await page.evaluate(() => {
        const day = document.querySelector('.day');
        [...day.querySelectorAll('.zoom button')].find((b) => b.textContent === 'Whole').click();
        return day.querySelector('.lane svg').getAttribute('viewBox') === '0 0 1000 100';
      });
      if (!same) tell('zoom', where + 'Whole does not lead back');
    } else if (zoomed !== 'none') tell('zoom', where + zoomed);
  }
  await page.close();
  if (!options.brief) await looksInPlainAndPrint(browser, url, listen, tell, name);

  if (troubles.size === 0) console.log(`passed ${name} (${bytes} bytes, drawn after ${Math.round(drawn)} ms)`);
  for (const [kind, { what, count }] of troubles) console.log(`failed ${name}: ${kind}: ${what}${count > 1 ? ` (${count} times)` : ''}`);
  return troubles.size === 0;
}

async function looksInPlainAndPrint(browser, url, listen, tell, name) {
  // Without script: the same words.
  const plain = await browser.newPage();
  listen(plain);
  await plain.setJavaScriptEnabled(false);
  await plain.setViewport({ width: 360, height: 900 });
  await plain.goto(url, { waitUntil: 'load' });
  if (await plain.evaluate(() => document.querySelectorAll('main section').length === 0 || document.querySelector('.zoom') !== null))
    tell('plain', 'without script there are no sections, or buttons that do nothing');
  for (const [kind, what] of await plain.evaluate(layoutTroubles)) tell(kind, 'without script: ' + what);
  await plain.close();

  // In print all is open, and nothing is wider than the paper (182 mm between the margins).
  const print = await browser.newPage();
  listen(print);
  await print.setViewport({ width: 688, height: 1000 });
  await print.goto(url, { waitUntil: 'load' });
  await print.emulateMediaType('print');
  if (await print.evaluate(() => [...document.querySelectorAll('details')].some((d) => d.children.length > 1 && d.children[1].getClientRects().length === 0)))
    tell('print', 'details are closed in print');
  for (const [kind, what] of await print.evaluate(layoutTroubles)) tell(kind, 'in print: ' + what);
  if (options.pictures) await print.pdf({ path: join(options.pictures, `${name}.pdf`), preferCSSPageSize: true, timeout: 120_000 });
  await print.close();
}

const browser = await puppeteer.launch({
  executablePath: options.browser,
  headless: true,
  args: ['--no-sandbox', '--disable-gpu', '--disable-dev-shm-usage', '--font-render-hinting=none'],
});
let good = true;
for (const file of options.pages) {
  try {
    good = (await inspect(browser, file)) && good;
  } catch (error) {
    console.log(`failed ${basename(file, '.html')}: the browser: ${String(error.message).split('\n')[0]}`);
    good = false;
  }
}
await browser.close();
process.exit(good ? 0 : 1);
