"""Style sheet of the HTML page: phone, wide screen, dark mode and paper."""

STYLE = """
:root { color-scheme: light dark; --ink: #1b1f24; --paper: #ffffff; --faint: #5a6470;
  --rule: #c9d0d8; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e8ebee; --paper: #15181c; --faint: #a3acb6; --rule: #3c444d; } }
* { box-sizing: border-box; }
body { margin: 0; color: var(--ink); background: var(--paper);
  font: 16px/1.45 system-ui, sans-serif; }
main { max-width: 1120px; margin: 0 auto; padding: 12px 16px 32px; }
h1, h2, h3 { line-height: 1.2; margin: 1.2em 0 0.3em; overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; margin-top: 0.4em; }
h2 { font-size: 1.2rem; }
h3 { font-size: 1.05rem; }
p { margin: 0.3em 0; overflow-wrap: anywhere; }
a { color: inherit; }
table { border-collapse: collapse; min-width: min(100%, 560px);
  font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; font-weight: normal; padding: 3px 10px 3px 0;
  border-bottom: 1px solid var(--rule); }
th[scope=row], td { overflow-wrap: anywhere; }
th[scope=row] { min-width: 8em; }
thead th { font-weight: 600; color: var(--faint); }
tfoot th, tfoot td { font-weight: 600; border-top: 2px solid var(--ink); }
.right { text-align: right; padding: 3px 0 3px 10px; overflow-wrap: normal; white-space: nowrap; }
.wide { white-space: nowrap; }
td small { color: var(--faint); white-space: nowrap; font-size: 0.85em; }
.note, footer p, figcaption { color: var(--faint); font-size: 0.9em; max-width: 720px; }
.pictures { display: grid; gap: 16px; margin: 16px 0;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 460px), 1fr)); }
figure { margin: 0; break-inside: avoid; }
figure svg { display: block; width: 100%; height: auto; }
footer { border-top: 1px solid var(--rule); margin-top: 2em; padding-top: 0.6em; }
@media (max-width: 599px) { .wide { display: none; } .right small { display: block; } }
@media print {
  :root { --ink: #000000; --paper: #ffffff; --faint: #333333; --rule: #999999; }
  body { font-size: 12px; }
  main { max-width: none; padding: 0; }
  .pictures { grid-template-columns: 1fr 1fr; }
  section, tr { break-inside: avoid; }
  article { break-before: page; }
  article:only-of-type { break-before: auto; } }
"""
