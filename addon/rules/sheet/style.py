"""How the bench sheet looks: one column of plain type, black on white, made for a printer first."""

STYLE = """
@page { margin: 13mm 12mm 14mm; }
* { box-sizing: border-box; }
body { margin: 0; color: #000; background: #fff; font: 10.5pt/1.38 "Helvetica Neue", Helvetica, Arial, sans-serif; }
main { max-width: 186mm; margin: 0 auto; padding: 4mm; overflow-wrap: break-word; }
header { border-bottom: 0.6mm solid #000; margin-bottom: 3mm; }
header p { margin: 0 0 1.5mm; }
.kind { text-transform: uppercase; letter-spacing: 0.12em; font-size: 8.5pt; }
h1 { font-size: 20pt; line-height: 1.15; margin: 0 0 1mm; }
h3 { font-size: 10pt; margin: 3mm 0 1mm; break-after: avoid; }
h2 { font-size: 12pt; margin: 5mm 0 1.5mm; border-bottom: 0.25mm solid #000; break-after: avoid; }
p { margin: 0 0 1.5mm; }
.verdict { border: 0.5mm solid #000; padding: 1.8mm 2.5mm; font-weight: bold; }
.note { font-size: 8.5pt; color: #333; break-before: avoid; }
.pictures { display: grid; grid-template-columns: 1fr 1fr; gap: 3mm; break-inside: avoid; }
.pictures h2 { grid-column: 1 / -1; margin-bottom: 0; }
figure { margin: 0; min-width: 0; display: flex; flex-direction: column; }
figure:first-of-type { grid-row: 2 / 4; }
figure svg { width: 100%; max-height: 84mm; }
figure:not(:first-of-type) svg { max-height: 47mm; }
figcaption { font-size: 8.5pt; text-align: center; }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: 0 6mm; }
.pair > section { min-width: 0; break-inside: avoid; }
table { border-collapse: collapse; width: 100%; margin-bottom: 1.5mm; }
th, td { text-align: left; vertical-align: top; padding: 0.7mm 2mm 0.7mm 0; border-bottom: 0.15mm solid #888; }
thead { display: table-header-group; }
thead th { border-bottom: 0.4mm solid #000; font-size: 9pt; }
tr { break-inside: avoid; }
.facts th { font-weight: normal; width: 46%; }
.facts td { font-weight: bold; }
.grid td.n { white-space: nowrap; font-variant-numeric: tabular-nums; }
.keep { break-inside: avoid; }
.small th:nth-child(1) { width: 25%; }
.small th:nth-child(2) { width: 17%; }
.small th:nth-child(3) { width: 13%; }
.small { font-size: 8pt; line-height: 1.25; }
.small td { overflow-wrap: anywhere; }
ol { margin: 0; padding-left: 0; list-style: none; }
li { position: relative; padding: 0 0 1.2mm 7mm; break-inside: avoid; }
li::before { content: ""; position: absolute; left: 0.5mm; top: 0.8mm; width: 3.2mm; height: 3.2mm;
  border: 0.3mm solid #000; }
dl { margin: 0; }
dt { font-weight: bold; break-after: avoid; }
dd { margin: 0 0 1.5mm; break-inside: avoid; }
@media print { main { max-width: none; padding: 0 0.4mm; } }
@media (max-width: 620px) { .pair, .pictures { grid-template-columns: 1fr; } figure:first-of-type { grid-row: auto; } }
"""
