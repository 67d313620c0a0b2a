"""How the report looks: plain, light, for screen and A4."""

STYLE = """
:root{--ink:#1c2328;--soft:#56636c;--line:#cfd7dc;--pale:#f4f6f8;--blue:#0072B2;--red:#D55E00}
*{box-sizing:border-box}
body{margin:0;background:#fff;color:var(--ink);font:15px/1.45 "Liberation Sans",Arial,sans-serif}
main{max-width:62rem;margin:0 auto;padding:1.6rem 1.4rem 2rem}
h1{font-size:1.9rem;line-height:1.15;margin:.1rem 0 .3rem;font-weight:600}
h2{font-size:1.12rem;margin:1.9rem 0 .6rem;padding-bottom:.25rem;border-bottom:2px solid var(--ink);font-weight:600}
p{margin:.35rem 0}
.kind{color:var(--soft);margin:0}
.verdict{font-size:1.12rem;margin:.5rem 0 1rem;max-width:52rem}
.invented{border:2px solid var(--ink);background:repeating-linear-gradient(-45deg,#fff 0 14px,#f1f3f5 14px 28px);
 padding:.45rem .8rem;font-weight:600;margin:0 0 1rem}
.tiles{display:grid;grid-template-columns:repeat(4,1fr);gap:.7rem;margin:0}
.tiles div{border:1px solid var(--line);border-top:4px solid var(--blue);padding:.55rem .7rem .6rem;background:#fff}
.tiles div.bad{border-top:4px double var(--red)}
.tiles dt{color:var(--soft);font-size:.84rem}
.tiles dd{margin:.1rem 0 0;font-size:1.42rem;font-weight:600;line-height:1.2}
.tiles dd small{display:block;font-size:.8rem;font-weight:400;color:var(--soft);line-height:1.3;margin-top:.15rem}
figure{margin:0}
svg{display:block;max-width:100%}
svg.board{width:100%;border:1px solid var(--line)}
svg text{font-family:"Liberation Sans",Arial,sans-serif}
svg .tag{fill:#000;stroke:#fff;stroke-width:.28em;paint-order:stroke;font-weight:700}
svg .axis{font-size:11px;fill:#56636c}
.legend{display:flex;flex-wrap:wrap;gap:.3rem 1.2rem;margin:.5rem 0 0;padding:0;list-style:none;font-size:.86rem}
.legend svg{display:inline-block;width:1.5em;height:1.15em;vertical-align:-.2em;margin-right:.35em}
.side{display:grid;grid-template-columns:minmax(15rem,22rem) 1fr;gap:1.6rem;align-items:start}
.row{display:grid;grid-template-columns:1fr 1fr;gap:1rem}
.row img{width:100%;border:1px solid var(--line)}
figcaption{font-size:.86rem;color:var(--soft);margin-top:.25rem}
table{border-collapse:collapse;width:100%;font-size:.88rem;font-variant-numeric:tabular-nums}
th,td{text-align:left;padding:.24rem .5rem;border-bottom:1px solid var(--line);vertical-align:top}
th{border-bottom:1.5px solid var(--ink);font-weight:600;line-height:1.2}
td.n,th.n{text-align:right}
td.n,td.w{white-space:nowrap}
tr.bad td:first-child{border-left:4px solid var(--red)}
tr.bad td{background:#fdf3ec}
tr.open td{background:var(--pale)}
.scroll{overflow-x:auto}
.facts{margin:0;padding:0;list-style:none}
.facts li{padding:.28rem 0;border-bottom:1px solid var(--line)}
.note{color:var(--soft);font-size:.88rem}
.cautions{columns:2;column-gap:2rem;padding-left:1.1rem;margin:.3rem 0;font-size:.9rem}
.cautions li{break-inside:avoid;margin-bottom:.3rem}
footer{margin-top:2rem;padding-top:.6rem;border-top:1px solid var(--line);font-size:.82rem;color:var(--soft)}
@media (max-width:44rem){.tiles{grid-template-columns:1fr 1fr}.side,.row{grid-template-columns:1fr}.cautions{columns:1}}
@page{size:A4;margin:14mm 13mm}
@media print{
 *{print-color-adjust:exact;-webkit-print-color-adjust:exact}
 body{font-size:9.6pt}.scroll{overflow:visible}table{font-size:8.2pt}th,td{padding:.16rem .35rem}main{max-width:none;padding:0}
 h2{break-after:avoid}figure,.tiles,.side,tr{break-inside:avoid}thead{display:table-header-group}
}
"""
