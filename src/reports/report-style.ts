/** One style for all reports, on a screen and on paper. No colour carries a meaning alone. */
export const reportStyle = `
:root{color-scheme:light}
*{box-sizing:border-box}
body{margin:0 auto;max-width:47rem;padding:1.5rem;background:#fff;color:#1b2126;font:15px/1.5 system-ui,"Segoe UI","Helvetica Neue","DejaVu Sans",sans-serif}
h1{font-size:1.6rem;line-height:1.2;margin:0 0 .25rem}
h2{font-size:1.15rem;margin:2rem 0 .5rem;padding-top:.4rem;border-top:2px solid #1d4e57}
h3{font-size:1rem;margin:1.25rem 0 .25rem}
p,ul,ol{margin:.4rem 0}
li{margin:.15rem 0}
.lead{font-size:1.05rem}
.soft,.tick{color:#545d66;fill:#545d66}
.soft{font-size:.87rem}
.notice{border-left:5px solid #8a6d1a;background:#f6efd7;padding:.5rem .8rem;margin:.8rem 0}
table{border-collapse:collapse;width:100%;margin:.5rem 0;font-size:.87rem}
caption{text-align:left;font-weight:600;padding:.2rem 0}
th,td{text-align:left;vertical-align:top;padding:.25rem .5rem .25rem 0;border-bottom:1px solid #d8d3c8}
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.scroll{overflow-x:auto}
td.n+td:not(.n),th.n+th:not(.n){padding-left:.6rem}
td.ends{white-space:nowrap}
.wide{font-size:.72rem}
.wide th,.wide td{padding:.15rem .35rem .15rem 0}
.wide td.n+td:not(.n),.wide th.n+th:not(.n){padding-left:.4rem}
th.n{white-space:normal}
svg{max-width:100%;height:auto}
svg text{font-family:inherit;font-size:11px}
.row-chart,.interval-chart{display:block;width:100%}
.frame{fill:none;stroke:#d8d3c8}
.band{fill:#d8e8e6}
.axis{stroke:#545d66;stroke-dasharray:3 3}
.bar{stroke:#545d66;stroke-width:1.2;fill:none}
.dot{fill:#1d4e57}
.outside{fill:#fff;stroke:#7a4a00;stroke-width:2}
.gap{stroke:#9aa2a9;stroke-width:1.2;fill:none}
.ball{fill:#f0d9c3;stroke:#1b2126;stroke-width:1.5}
.spin-axis{stroke:#1d4e57;stroke-width:3}
.drill{display:flex;gap:1rem;flex-wrap:wrap;align-items:flex-start}
.drill>div{flex:1 1 16rem}
.drill-picture{flex:none}
h2,h3{break-after:avoid}
p,li{orphans:3;widows:3}
footer{margin-top:2rem;border-top:1px solid #d8d3c8;padding-top:.5rem}
.keep,.care,.measure,.finding,.drill,ol,tr,svg{break-inside:avoid}
@media print{body{max-width:none;padding:0;font-size:10.5pt;line-height:1.4}h2{margin-top:1.2rem}footer{margin-top:1rem}.scroll{overflow:visible}@page{size:A4;margin:16mm}.notice{print-color-adjust:exact}svg{print-color-adjust:exact}}
`.trim();
