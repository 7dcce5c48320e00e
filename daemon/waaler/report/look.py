"""The look of report and page: ink on paper, one water blue; shape and hatching before colour; light and dark."""

from waaler.report.markup import Markup

__all__ = ["LOOK", "LOOK_ELEMENT"]

LOOK = """
:root { color-scheme: light dark;
  --paper: #fcfbf7; --panel: #f3f1e9; --ink: #1c2529; --soft: #566067; --rule: #d8d4c6; --water: #0a5f7a;
  --shade: #0a5f7a2e; --sunlight: #f6e9b8; --alarm: #9a2a10; --alarm-paper: #fbe9e2; --good: #2d5f2e; }
@media (prefers-color-scheme: dark) { :root {
  --paper: #14191b; --panel: #1d2427; --ink: #e8e6de; --soft: #a5afb3; --rule: #374145; --water: #6cc3de;
  --shade: #6cc3de33; --sunlight: #3b3620; --alarm: #ff9f80; --alarm-paper: #3a201a; --good: #9bd19c; } }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 system-ui, sans-serif; }
header, main, footer { max-width: 72rem; margin: 0 auto; padding: 0 1rem; }
header { padding-top: 1rem; }
footer { padding-bottom: 2rem; color: var(--soft); font-size: .875rem; }
h1 { font-size: 1.375rem; line-height: 1.25; margin: 0 0 .25rem; overflow-wrap: anywhere; }
h2 { font-size: 1.0625rem; margin: 2rem 0 .5rem; padding-top: .5rem; border-top: 3px double var(--rule);
  overflow-wrap: anywhere; }
p { margin: .5rem 0; max-width: 46rem; }
a { color: var(--water); }
a:focus-visible, summary:focus-visible, input:focus-visible, select:focus-visible, button:focus-visible,
  [tabindex]:focus-visible { outline: 3px solid var(--water); outline-offset: 2px; }
nav ul { list-style: none; margin: .5rem 0; padding: 0; display: flex; flex-wrap: wrap; gap: .25rem 1.25rem; }
nav a { display: inline-block; padding: .5rem 0; }
.skip-link { position: absolute; left: -999rem; } .skip-link:focus { position: static; }
.soft, figcaption, .unit { color: var(--soft); font-size: .875rem; }
.verdict { font-size: 1.125rem; line-height: 1.4; border-left: 6px solid var(--water);
  padding: .25rem 0 .25rem .75rem; }
.verdict.alarm, .alarm { border-left: 6px double var(--alarm); background: var(--alarm-paper); }
.alarm { padding: .5rem .75rem; margin: .5rem 0; list-style: none; max-width: 46rem; }
.alarm strong { color: var(--alarm); }
.note { border-left: 6px solid var(--soft); background: var(--panel); padding: .5rem .75rem; margin: .5rem 0;
  list-style: none; max-width: 46rem; }
ul.today { list-style: none; padding: 0; margin: .25rem 0; display: flex; flex-wrap: wrap; gap: .25rem 1rem;
  font-size: .875rem; }
ul.today a { display: inline-block; padding: .25rem; }
ul.alarms { padding: 0; margin: 0; }
dl.now { display: grid; grid-template-columns: repeat(auto-fit, minmax(9.5rem, 1fr)); gap: .75rem 1rem;
  margin: 1rem 0; }
dl.now div { background: var(--panel); padding: .5rem .75rem; border-top: 3px solid var(--water); }
dt { color: var(--soft); font-size: .875rem; } dd { margin: 0; font-size: 1.125rem; line-height: 1.3; }
dd small { display: block; font-size: .875rem; color: var(--soft); }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 26rem), 1fr)); gap: 0 2rem; }
figure { margin: 0 0 1rem; min-width: 0; } figcaption { margin-bottom: .25rem; }
figcaption strong { color: var(--ink); font-size: 1rem; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .9375rem; }
caption { text-align: left; color: var(--soft); font-size: .875rem; padding-bottom: .25rem; }
th, td { text-align: left; vertical-align: top; padding: .375rem .75rem .375rem 0;
  border-bottom: 1px solid var(--rule); }
td { overflow-wrap: break-word; } td.number, th.number { white-space: nowrap; }
@media (min-width: 40rem) { td.when { white-space: nowrap; } }
@media (max-width: 40rem) { td.when { min-width: 4.25rem; } }
td.number, th.number { text-align: right; font-variant-numeric: tabular-nums; }
th { color: var(--soft); font-weight: 600; font-size: .875rem; }
form { display: flex; flex-wrap: wrap; gap: .5rem 1rem; align-items: end; margin: .75rem 0; }
label { display: block; font-size: .875rem; color: var(--soft); }
input, select, button { font: inherit; color: var(--ink); background: var(--panel); border: 1px solid var(--soft);
  border-radius: 3px; padding: .375rem .5rem; min-height: 2.75rem; }
button { border: 2px solid var(--water); }
.key { display: flex; flex-wrap: wrap; gap: 0 1rem; margin: .25rem 0; color: var(--soft); font-size: .8125rem; }
.key svg { vertical-align: -3px; margin-right: .25rem; }
.patterns { position: absolute; }
svg.chart { display: block; overflow: visible; }
.chart text { font: 12px system-ui, sans-serif; fill: var(--soft); }
.chart .tick { paint-order: stroke; stroke: var(--paper); stroke-width: 3px; stroke-linejoin: round; }
.strip .tick { stroke: none; }
.grid { stroke: var(--rule); } .axis { stroke: var(--soft); }
.sunlight { fill: var(--sunlight); }
.ink-line { stroke: var(--ink); stroke-width: 1.4; fill: none; }
.planned rect { fill: var(--paper); stroke: var(--ink); stroke-width: 1.2; }
.ran rect, .solid { fill: var(--water); }
.short rect { fill: var(--water); } .short .bar { fill: var(--ink); }
.left-out rect, .hatched { fill: url(#hatch); stroke: var(--ink); stroke-width: 1; }
.cross { stroke: var(--alarm); stroke-width: 2.5; fill: none; }
.now { stroke: var(--ink); stroke-width: 1.5; stroke-dasharray: 2 3; }
.shade { fill: var(--shade); stroke: none; }
.curve { fill: none; stroke: var(--water); stroke-width: 2.5; vector-effect: non-scaling-stroke; }
.expected { stroke-dasharray: 7 4; }
.edge, .thin { fill: none; stroke: var(--water); stroke-width: 1; vector-effect: non-scaling-stroke; }
.dot { fill: var(--paper); stroke: var(--water); stroke-width: 2.5; }
.spot { fill: var(--water); stroke: var(--water); stroke-width: 2.5; }
.limit { stroke: var(--ink); stroke-width: 1.2; stroke-dasharray: 1 4; stroke-linecap: round; }
.chart .limit-name { fill: var(--ink); }
.moment { stroke: var(--ink); stroke-width: 1; }
@media print { :root { --paper: #fff; --panel: #fff; } body { font-size: 10pt; } nav, form { display: none; }
  figure, tr, dl.now div { break-inside: avoid; } h2 { break-after: avoid; } }
"""

LOOK_ELEMENT = Markup(f"<style>{LOOK}</style>")
