// The look of all pages: paper and slate, one calm blue for what is as it should be, ochre and brick red for
// what is not. Every colour on its ground has a contrast of 4.5 and more, and every state differs by frame or
// pattern, too.
#include "report/html/html_page.hpp"

namespace tramlog {

const char* const kHtmlStyle = R"css(
:root{--ground:#f7f6f2;--sheet:#fffefb;--ink:#22303a;--soft:#55636d;--rule:#d5d2c8;--link:#1d4f76;
--calm:#3c77a3;--calm-ground:#e3edf4;--warn:#7a5200;--warn-ground:#fbf0d5;--bad:#9b2c1f;--bad-ink:#fffefb;--pale:#b9cbd8}
@media screen and (prefers-color-scheme:dark){:root{--ground:#14191d;--sheet:#1c2328;--ink:#e4e6e3;--soft:#a9b4bb;--rule:#3b464d;
--link:#9cc8ea;--calm:#6fa8d2;--calm-ground:#21394a;--warn:#f0c669;--warn-ground:#3d3216;--bad:#f09382;--bad-ink:#1c1210;--pale:#3c5263}}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0 auto;padding:1rem;max-width:72rem;background:var(--ground);color:var(--ink);
font:1rem/1.5 system-ui,"Segoe UI","Noto Sans","DejaVu Sans",sans-serif;overflow-wrap:anywhere}
header{border-top:.35rem solid var(--calm);padding:.8rem 0 .2rem}
.kind{margin:0;color:var(--soft);letter-spacing:.04em}
h1{margin:.1rem 0 .6rem;font-size:1.6rem;line-height:1.2}
h2{margin:0 0 .7rem;font-size:1.2rem;line-height:1.3}
h3{margin:1.2rem 0 .4rem;font-size:1rem}
h4{margin:.7rem 0 .2rem;font-size:.9rem;color:var(--soft)}
section{background:var(--sheet);border:1px solid var(--rule);border-radius:.4rem;padding:1rem;margin:1rem 0}
.patterns{position:absolute}.veil{fill:var(--sheet);opacity:.75}.hatch{fill:none;stroke:var(--soft);stroke-width:1px;vector-effect:non-scaling-stroke}
p,ul,ol,dl{margin:.4rem 0}
ul,ol{padding-left:1.5rem}
li{margin:.3rem 0}
ul.answer{list-style:none;padding:0}
ul.answer>li{border-left:.25rem solid var(--rule);padding:.1rem 0 .1rem .7rem}
a{color:var(--link)}
dl{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,17rem),1fr));gap:.4rem 1.5rem}
dt{color:var(--soft);font-size:.85rem}
dd{margin:0}
article{border-top:1px solid var(--rule);padding:.8rem 0}
article h3{margin-top:0}
.caution{border:2px solid var(--warn);border-radius:.3rem;padding:.5rem .7rem;background:var(--warn-ground)}
.soft,caption,summary{color:var(--soft)}
.soft{font-size:.9rem}
.b{display:inline-block;white-space:nowrap;padding:0 .45em;border-radius:.25em;border:1px solid transparent;font-size:.85rem;font-weight:600;line-height:1.5}
.b.good{border-color:var(--calm);background:var(--calm-ground)}
.b.notice{border:3px double var(--warn);background:var(--warn-ground);color:var(--warn)}
.b.trouble{background:var(--bad);border-color:var(--bad);color:var(--bad-ink)}
.b.doubt{border:1px dashed var(--soft)}
.b.plain{padding:0;font-weight:400}
table{border-collapse:collapse;width:100%;margin:.5rem 0;font-size:.92rem}
caption{text-align:left;font-size:.85rem;padding-bottom:.3rem}
th,td{min-width:6.2rem;text-align:left;vertical-align:top;padding:.3rem .6rem .3rem 0;border-bottom:1px solid var(--rule)}
thead th{color:var(--soft);font-weight:600}
tbody th{font-weight:600;min-width:8rem}
details{margin:.6rem 0}
summary{cursor:pointer;padding:.2rem 0}
:focus-visible{outline:3px solid var(--calm);outline-offset:2px}
@media screen and (max-width:48rem){
body{padding:.6rem}section{padding:.8rem}
table,caption,tbody,tr,th,td{display:block;width:auto;min-width:0}
thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
tbody tr{border-bottom:1px solid var(--rule);padding:.4rem 0}
tbody th,tbody td{border:0;padding:.05rem 0;min-width:0}
td:empty{display:none}
td[data-l]::before{content:attr(data-l) ": ";color:var(--soft)}
}
.day{position:relative;margin:.6rem 0 1.2rem}
.lane{display:grid;grid-template-columns:14rem minmax(0,1fr);column-gap:.8rem;align-items:center;position:relative}
.lane+.lane{border-top:1px solid var(--rule)}
.lane>.what{font-size:.85rem;line-height:1.3;padding:.2rem 0}
.lane svg{display:block;width:100%;height:1.5rem;overflow:hidden}
.lane.tall svg{height:4rem}
.lane.low svg{height:.9rem}
.axis{position:absolute;left:14.8rem;right:0;top:0;bottom:0;pointer-events:none;overflow:hidden}
.axis span{position:absolute;top:0;bottom:0;border-left:1px dotted var(--soft);font-size:.75rem;line-height:1.3;padding-left:.25rem;color:var(--soft);white-space:nowrap;font-variant-numeric:tabular-nums}
.lanes{position:relative;padding-top:1.2rem}
.here{fill:var(--calm)}.away{fill:var(--bad);stroke:var(--bad);stroke-width:2px}
.away.far{fill:var(--sheet)}.hush{fill:none;stroke:var(--soft);stroke-width:1px;stroke-dasharray:3 3}
.again{fill:none;stroke:var(--ink);stroke-width:6px;stroke-linecap:round}
.deaf{fill:url(#deaf);stroke:var(--soft);stroke-width:1px}
.omitted{fill:var(--ground);stroke:var(--soft);stroke-width:1px;stroke-dasharray:1 4}
.mark{stroke:var(--warn);stroke-width:2px;stroke-dasharray:5 3}
.peak,.solid{fill:none;stroke:var(--ink);stroke-width:1.5px}.told{fill:none;stroke:var(--warn);stroke-width:2px;stroke-dasharray:6 3}
.mean,.band{fill:var(--calm);stroke:var(--calm);stroke-width:1px}
.want{fill:none;stroke:var(--ink);stroke-width:1px}.did{fill:var(--calm)}
.day rect,.day line,.day path{vector-effect:non-scaling-stroke}
.key{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.3rem 1.2rem;font-size:.85rem}
.key li{margin:0;display:flex;align-items:center;gap:.4rem}
.key svg{width:2.4rem;height:1.5rem;flex:none}
.zoom{display:flex;flex-wrap:wrap;gap:.4rem;align-items:center;margin:.5rem 0}
.zoom button{font:inherit;font-size:.9rem;padding:.3rem .8rem;border:1px solid var(--soft);border-radius:.3rem;background:var(--sheet);color:var(--ink);cursor:pointer}
.zoom output{font-size:.9rem;color:var(--soft);min-height:1.5em}
@media screen and (max-width:40rem){
.lane{display:block;padding-bottom:.3rem}.axis{left:0}.lane>.what{position:relative;background:var(--sheet)}
.axis .minor{display:none}
}
@media print{
@page{size:A4;margin:14mm}
:root{--ground:#fff;--sheet:#fff}
html{font-size:8.5pt}
body{padding:0;max-width:none}
article{padding:.3rem 0}details{margin:.2rem 0}li,p,ul,ol{margin:.15rem 0}
section{border:0;border-top:1px solid var(--rule);border-radius:0;padding:.6rem 0;margin:.4rem 0}
h2,h3{break-after:avoid}
tr,article>h3,.lane,li,.caution{break-inside:avoid}
tbody tr:first-child{break-before:avoid}caption,thead{break-after:avoid}
.zoom,summary::marker{display:none}
details::details-content{content-visibility:visible;display:block;height:auto}
summary{list-style:none}
a{color:inherit;text-decoration:none}
.b,.caution,.lane svg,.key svg{print-color-adjust:exact;-webkit-print-color-adjust:exact}
.b.trouble{background:#fff;color:#000;border:2px solid #000}
}
)css";

}  // namespace tramlog
