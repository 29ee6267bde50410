"""The page's style sheet, for screen and paper, with the foot of each sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.writeup.contents import Draft

_STYLE = """
@page { SIZEmargin: 11mm 14mm 15mm;
  @bottom-left { content: FOOT_LEFT; font: 7pt FONTS; color: #333; white-space: pre-line; }
  @bottom-right { content: "page " counter(page) " of " counter(pages); font: 8pt FONTS; color: #111; } }
@page :first { @bottom-left { content: FOOT_FIRST; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem; max-width: 58rem; color: #111; background: #fff;
  font: 0.86rem/1.42 FONTS; }
header { display: flex; flex-wrap: wrap; justify-content: space-between; align-items: flex-end; gap: 0.3rem 1rem;
  border-bottom: 2.5pt solid #111; padding-bottom: 0.35rem; }
.shop { font-size: 0.8rem; margin-bottom: 0.3rem; overflow-wrap: anywhere; }
.shop b { font-size: 1.05rem; }
h1 { font-size: 1.35rem; font-weight: 700; letter-spacing: 0.01em; margin: 0; }
.state { font-size: 0.74rem; letter-spacing: 0.05em; border: 1pt solid #111; padding: 0.16rem 0.55rem; }
.facts { display: flex; flex-wrap: wrap; border-left: 0.75pt solid #777; border-top: 0.75pt solid #777;
  margin: 0.7rem 0 0; }
.facts div { flex: 1 1 22%; border: 0.75pt solid #777; border-left: 0; border-top: 0;
  padding: 0.2rem 0.5rem 0.32rem; min-height: 2.7rem; overflow-wrap: anywhere; }
dt, .label { font-size: 0.66rem; letter-spacing: 0.07em; text-transform: uppercase; color: #444; }
dd { margin: 0; font-size: 0.98rem; }
.three { border: 1.5pt solid #111; margin-top: 0.7rem; }
.three section { display: flex; margin: 0; break-inside: avoid; }
.three section + section { border-top: 0.75pt solid #777; }
.three h2 { flex: 0 0 8.2rem; border: 0; margin: 0; padding: 0.4rem 0.6rem; background: #efefec; font-size: 0.8rem; }
.three h2 small { display: block; font-weight: 400; letter-spacing: 0; text-transform: none; }
.three .body { flex: 1 1 auto; padding: 0.35rem 0.7rem; font-size: 0.98rem; }
.three .verdict { font-weight: 700; }
h2 { font-size: 0.8rem; letter-spacing: 0.08em; text-transform: uppercase; margin: 0.75rem 0 0.25rem;
  border-bottom: 1pt solid #111; padding-bottom: 0.1rem; break-after: avoid; }
.noted { overflow-wrap: anywhere; }
h2 small { font-weight: 400; letter-spacing: 0; text-transform: none; }
p { margin: 0 0 0.25rem; orphans: 2; widows: 2; }
ul { margin: 0.1rem 0; padding-left: 1.1rem; }
li { margin: 0.08rem 0; break-inside: avoid; }
.check { list-style: none; padding-left: 0; }
.box { display: inline-block; width: 0.8em; height: 0.8em; border: 1pt solid #111; margin-right: 0.5em;
  vertical-align: -0.06em; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
th { text-align: left; font-size: 0.66rem; letter-spacing: 0.06em; text-transform: uppercase; font-weight: 400;
  color: #444; border-bottom: 0.75pt solid #111; padding: 0.15rem 0.5rem 0.15rem 0; vertical-align: bottom; }
td { border-bottom: 0.5pt solid #999; padding: 0.25rem 0.5rem 0.25rem 0; vertical-align: top; }
tr { break-inside: avoid; }
h1.appendix { font-size: 1.1rem; margin: 1.4rem 0 0; }
.two-boxes div { flex-basis: 45%; }
.check.two { columns: 2; }
.photos { display: flex; flex-wrap: wrap; gap: 0 1rem; }
figure.photo { flex: 0 0 48%; width: 48%; break-inside: avoid; }
figure.photo img { display: block; max-width: 100%; max-height: 95mm; image-orientation: from-image;
  border: 0.5pt solid #777; }
figcaption small { display: block; overflow-wrap: anywhere; color: #444; }
.deciding { table-layout: fixed; }
.deciding .d0 { width: 31%; } .deciding .d1, .deciding .d2 { width: 21%; } .deciding .d3 { width: 27%; }
.deciding td { overflow-wrap: anywhere; }
.deciding .open { color: #444; }
.evidence-table { table-layout: fixed; }
.evidence-table .c0 { width: 5%; } .evidence-table .c1 { width: 11%; } .evidence-table .c2 { width: 25%; }
.evidence-table .c3 { width: 14%; } .evidence-table .c4 { width: 24%; } .evidence-table .c5 { width: 21%; }
td.number, td.time { font-variant-numeric: tabular-nums; }
tr.procedure { break-after: avoid; }
tr.procedure td { font-weight: 700; border-bottom-color: #111; padding-top: 0.55rem; }
.priced td { height: 1.5rem; padding-top: 0.2rem; padding-bottom: 0.2rem; }
.priced td + td, .priced th + th { width: 18%; padding-left: 0.6rem; border-left: 0.5pt solid #999; }
.pictures { display: flex; justify-content: space-between; break-inside: avoid; }
figure { flex: 0 0 48.5%; width: 48.5%; margin: 0.4rem 0 0.5rem; }
figure.ramp { flex: none; width: 100%; break-inside: avoid; }
figure svg { display: block; width: 100%; height: auto; border: 0.5pt solid #bbb; }
figcaption { font-size: 0.76rem; color: #222; margin-top: 0.15rem; }
.seen { font-weight: 700; }
td small, li small { display: block; color: #333; font-size: 0.76rem; overflow-wrap: anywhere; }
.whole { white-space: nowrap; }
.mark { font-weight: 700; }
.taken-back { border: 1pt solid #111; padding: 0 0.35rem; font-size: 0.72rem; text-transform: uppercase;
  letter-spacing: 0.04em; display: inline-block; }
del { text-decoration-thickness: 1pt; }
.columns { display: flex; gap: 0 1.6rem; }
.columns section { flex: 1 1 0; }
.two { columns: 2; column-gap: 1.6rem; }
.signal { font-weight: 700; }
.blank { display: inline-block; border-bottom: 0.75pt solid #111; min-width: 60%; height: 1.1em; }
.blank.full { display: block; min-width: 100%; height: 1.5em; }
audio { display: block; height: 2rem; width: 100%; max-width: 22rem; margin-top: 0.15rem; }
.record { font-size: 0.74rem; overflow-wrap: anywhere; }
.note { border-left: 3pt solid #111; padding-left: 0.6rem; margin-top: 0.5rem; font-size: 0.74rem; }
.sign { border: 1.5pt solid #111; padding: 0.2rem 0.8rem 0.6rem; margin-top: 0.7rem; break-inside: avoid; }
.sign h2 { border: 0; margin-top: 0.4rem; }
.sign .row { display: flex; gap: 1rem; align-items: flex-end; }
.sign .row .label { flex: 0 0 auto; }
.sign .row .blank { flex: 1 1 auto; min-width: 0; }
@media screen and (max-width: 46rem) {
  .facts div { flex-basis: 45%; }
  .three section, .columns, .pictures { display: block; }
  figure, figure.photo { flex-basis: 100%; width: 100%; }
  .evidence-table, .evidence-table tbody, .evidence-table tr, .evidence-table td { display: block; width: auto; }
  .evidence-table thead, .evidence-table colgroup { display: none; }
  .evidence-table tr { border-bottom: 0.75pt solid #777; padding: 0.3rem 0; }
  .evidence-table td { border: 0; padding: 0.05rem 0; }
  .evidence-table td[data-label]::before { content: attr(data-label) ": "; color: #444; }
}
@media print {
  html { font-size: 10pt; }
  body { padding: 0; max-width: none; }
  audio { display: none; }
  a { color: inherit; text-decoration: none; }
  .evidence { break-before: page; }
  h1.appendix { margin-top: 0; }
}
"""
_FONTS = '"Liberation Sans", Arial, Helvetica, "DejaVu Sans", sans-serif'


def style(draft: Draft, *, paper: bool) -> str:
    """The style sheet of one write-up; a PDF is set on Letter, and a browser takes the paper of its printer.

    The foot of the first page, which the customer gets, has no checksum.
    """
    number = draft.box("Repair order")
    order = f"Repair order {number}" if number else "Repair order: none given"
    first = f"{order}, session {draft.session}"
    foot = f"{first}\nRecord SHA-256 {draft.record or 'none'}"
    sheet = _STYLE.replace("SIZE", "size: letter; " if paper else "")
    sheet = sheet.replace("FOOT_FIRST", _css_text(first)).replace("FOOT_LEFT", _css_text(foot))
    return sheet.replace("FONTS", _FONTS)


def _css_text(words: str) -> str:
    """A CSS string; every character that is not plain becomes its number (CSS Syntax Module Level 3, 4.3.7)."""
    return (
        '"'
        + "".join(sign if sign.isalnum() or sign in " .,:-" else f"\\{ord(sign):x} " for sign in words)
        + '"'
    )
