"""How the bench sheet looks: plain type, black on white, figures large, made for a printer first."""

STYLE = """
@page { margin: 12mm 12mm 14mm; @bottom-right { content: counter(page) " of " counter(pages); font: 8pt sans-serif; } }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; }
body { margin: 0; color: #000; background: #fff;
  font: 10.5pt/1.4 "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; }
main { max-width: 186mm; margin: 0 auto; padding: 5mm 4mm; overflow-wrap: break-word; }
header { border-bottom: 0.8mm solid #000; margin-bottom: 3mm; }
header p { margin: 0 0 1.5mm; }
.kind { text-transform: uppercase; letter-spacing: 0.14em; font-size: 8.5pt; }
h1 { font-size: 22pt; line-height: 1.15; margin: 0 0 1mm; text-wrap: balance; }
h2 { font-size: 13pt; line-height: 1.2; margin: 5mm 0 1.5mm; border-bottom: 0.3mm solid #000; break-after: avoid; }
h3 { font-size: 10.5pt; margin: 3mm 0 1mm; break-after: avoid; }
p { margin: 0 0 1.5mm; orphans: 2; widows: 2; }
section > :nth-child(2) { break-before: avoid; }
.verdict { border: 0.5mm solid #000; padding: 1.8mm 2.5mm; font-weight: bold; break-inside: avoid; }
.verdict.stop { border-width: 1.2mm; }
h2 + .verdict { break-after: avoid; }
.first { font-size: 9.5pt; line-height: 1.35; }
.first a { color: inherit; }
.note, .small { font-size: 8.5pt; line-height: 1.3; font-weight: normal; color: #333; }
.note { break-before: avoid; break-inside: avoid; }
.tiles { display: grid; grid-template-columns: repeat(4, 1fr); margin: 0; border: 0.3mm solid #000;
  border-width: 0.3mm 0 0 0.3mm; break-inside: avoid; }
.tiles div { border: 0.3mm solid #000; border-width: 0 0.3mm 0.3mm 0; padding: 1.2mm 2mm; min-width: 0; }
.tiles dt { font-size: 8.5pt; line-height: 1.3; }
.tiles dd { margin: 0; }
.tiles b { display: block; font-size: 16pt; line-height: 1.2; white-space: nowrap; letter-spacing: -0.02em; }
.pictures { display: grid; grid-template-columns: 1fr 1fr; gap: 2mm 5mm; break-inside: avoid; }
.pictures h2 { grid-column: 1 / -1; margin-bottom: 0; }
figure { margin: 0; min-width: 0; display: flex; flex-direction: column; justify-content: space-between; }
figure:first-of-type { grid-row: 2 / 4; }
figure svg { width: 100%; max-height: 62mm; }
figure:not(:first-of-type) svg { max-height: 30mm; }
figure:last-of-type svg { max-height: 38mm; }
.tall { grid-template-columns: 1fr 1fr 1fr; }
.tall figure:first-of-type { grid-row: auto; }
.tall figure svg, .tall figure:not(:first-of-type) svg, .tall figure:last-of-type svg { max-height: 58mm; }
figcaption { font-size: 8.5pt; line-height: 1.3; text-align: center; }
.columns { display: grid; grid-template-columns: 1fr 1fr; column-gap: 7mm; align-items: start; }
.columns > section { break-inside: avoid; min-width: 0; }
table { border-collapse: collapse; width: 100%; margin-bottom: 1.5mm; }
th, td { text-align: left; vertical-align: top; padding: 0.7mm 2.5mm 0.7mm 0; border-bottom: 0.15mm solid #888; }
th:last-child, td:last-child { padding-right: 0; }
thead { display: table-header-group; }
thead th { border-bottom: 0.4mm solid #000; font-size: 8.5pt; line-height: 1.25; vertical-align: bottom; }
tr { break-inside: avoid; }
tbody tr:nth-child(-n + 2), tbody tr:nth-last-child(3), tbody tr:nth-last-child(2) { break-after: avoid; }
.facts th { font-weight: normal; width: 46%; }
.facts td { font-weight: bold; }
.n { white-space: nowrap; font-variant-numeric: tabular-nums; }
.large td.n { font-size: 11pt; font-weight: bold; padding-right: 4mm; }
.large td.n:nth-child(n + 2) { font-weight: normal; }
.large td:last-child { vertical-align: middle; }
.keep { break-inside: avoid; }
.links td:first-child { font-weight: bold; }
.links th:nth-child(2) { width: 24%; }
.links th:last-child { width: 30%; }
.cuts td:nth-child(3) { width: 34%; }
.record td { height: 7mm; vertical-align: middle; }
.record td:nth-child(n + 3) { border-left: 0.15mm solid #888; width: 27%; }
.record td:first-child { width: 27%; }
.play { font-size: 8.5pt; }
table.small { font-size: 8pt; line-height: 1.25; color: #000; }
.sources th:nth-child(1) { width: 25%; }
.sources th:nth-child(2) { width: 18%; }
.sources th:nth-child(3) { width: 13%; }
.sources td { overflow-wrap: anywhere; padding-block: 0.4mm; }
.sources.keep { break-inside: auto; }
ol, ul { margin: 0; padding-left: 0; list-style: none; }
.steps { counter-reset: step; }
.steps li { position: relative; padding: 0 0 1.6mm 13mm; break-inside: avoid; counter-increment: step; }
.steps li::before { content: ""; position: absolute; left: 0; top: 0.6mm; width: 4mm; height: 4mm;
  border: 0.35mm solid #000; }
.steps li::after { content: counter(step); position: absolute; left: 5mm; top: 0; width: 6mm; text-align: right;
  font-weight: bold; }
.findings li { display: grid; grid-template-columns: 15mm 1fr; padding: 1mm 0; border-bottom: 0.15mm solid #888;
  break-inside: avoid; }
.findings li > span { min-width: 0; }
.how { align-self: start; justify-self: start; width: 12mm; text-align: center; font-size: 8.5pt; line-height: 1.35;
  border: 0.3mm solid #000; margin-top: 0.4mm; }
.how.stop { border-width: 0.9mm; }
.how.note { font-weight: normal; color: #000; border-style: dotted; }
dl { margin: 0; }
.whole { break-inside: avoid; }
.cautions { columns: 2; column-gap: 7mm; font-size: 9.5pt; line-height: 1.35; }
.cautions div { break-inside: avoid; }
.cautions dt { font-weight: bold; }
.cautions dd { margin: 0 0 1.5mm; }
@media print { main { max-width: none; padding: 0 0.4mm; } header { margin-top: 0; } }
@media screen and (max-width: 620px) {
  .pictures { grid-template-columns: 1fr; }
  .pictures figure:first-of-type { grid-row: auto; }
  .columns { grid-template-columns: 1fr; }
  .cautions { columns: 1; }
  .tiles { grid-template-columns: 1fr 1fr; }
  .grid thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  .grid tbody, .grid tr, .grid td { display: block; width: auto !important; }
  .grid tr { border-bottom: 0.4mm solid #000; padding: 1.5mm 0; }
  .grid td, .record td { display: flex; gap: 3mm; border: 0; padding: 0.3mm 0 !important;
    white-space: normal; height: auto; }
  .grid td::before { content: attr(data-label); flex: 0 0 32%; font-size: 9.5pt; font-weight: normal; color: #333; }
  .record td { min-height: 7mm; }
  .record td:nth-child(n + 3) { border-left: 0; border-bottom: 0.15mm solid #888; }
}
"""
