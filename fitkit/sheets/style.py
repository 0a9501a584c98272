"""The look of a page: one column, light or dark, black on white in print."""

#: Style sheet of every page; it loads no font and no picture.
STYLE = """
:root {
  color-scheme: light dark;
  --ink: #1d2125; --soft: #565e66; --line: #cfd4d9; --paper: #ffffff; --tint: #f4f5f6;
  --fits: #1d5c4d; --not: #a63a00;
}
@media (prefers-color-scheme: dark) {
  :root {
    --ink: #e8eaec; --soft: #a9b1b9; --line: #3e454c; --paper: #16191c; --tint: #20252a;
    --fits: #7fc7b3; --not: #f0986a;
  }
}
* { box-sizing: border-box; }
body {
  margin: 0 auto; padding: 1.5rem 1.25rem 3rem; max-width: 54rem;
  background: var(--paper); color: var(--ink);
  font: 16px/1.5 "Liberation Sans", "DejaVu Sans", Helvetica, Arial, sans-serif;
}
h1 { font-size: 1.55rem; line-height: 1.2; margin: 0 0 .2rem; overflow-wrap: anywhere; }
h2 { font-size: 1.15rem; margin: 2.2rem 0 .6rem; }
p, ul, ol { margin: .4rem 0; }
li { margin: .3rem 0; }
.soft { color: var(--soft); font-size: .88rem; }
.verdict {
  border: 3px solid var(--mark); border-radius: 6px;
  padding: .9rem 1.1rem; margin: 1.1rem 0;
}
.verdict strong { display: block; font-size: 1.7rem; line-height: 1.2; color: var(--mark); }
.fits { --mark: var(--fits); }
.not { --mark: var(--not); }
.answers {
  display: grid; grid-template-columns: repeat(auto-fit, minmax(8.5rem, 1fr));
  gap: .7rem; margin: 0;
}
.answers div { border-top: 2px solid var(--line); padding-top: .35rem; }
.answers dt { color: var(--soft); font-size: .85rem; }
.answers dd { margin: 0; }
.answers dd.figure { font-size: 1.25rem; font-weight: bold; }
.answers dd.note { color: var(--soft); font-size: .82rem; line-height: 1.35; }
figure { margin: .8rem 0; }
figure img {
  display: block; width: 100%; height: auto; background: #fff; border-radius: 4px;
}
figcaption { color: var(--soft); font-size: .85rem; margin-top: .3rem; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .82rem; line-height: 1.3; }
th, td {
  text-align: right; padding: .28rem .4rem; vertical-align: top;
  border-bottom: 1px solid var(--line);
}
th { color: var(--soft); font-weight: normal; vertical-align: bottom; }
caption { text-align: left; font-weight: 600; padding: 1rem 0 .3rem; }
td.text, th.text { text-align: left; }
tr.marked td { background: var(--tint); font-weight: bold; }
code {
  font: .92em "Liberation Mono", "DejaVu Sans Mono", monospace; overflow-wrap: anywhere;
}
td.text:first-child, td code { white-space: nowrap; }
@page { size: A4; margin: 14mm 15mm 16mm; }
@media print {
  :root {
    color-scheme: light;
    --ink: #000; --soft: #444; --line: #bbb; --paper: #fff; --tint: #eee;
    --fits: #1d5c4d; --not: #a63a00;
  }
  html { font-size: 9.5pt; }
  body { font-size: 1rem; max-width: none; padding: 0; }
  .answers { grid-template-columns: repeat(5, 1fr); }
  h2 { break-after: avoid; margin: 1.3rem 0 .4rem; }
  .verdict { padding: .6rem .9rem; margin: .8rem 0; }
  figure { margin: .3rem 0; }
  figure, .verdict, .answers, tr, li { break-inside: avoid; }
  thead { display: table-header-group; }
  .scroll { overflow: visible; }
}
"""
