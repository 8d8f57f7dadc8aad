"""How a page looks: a maker's plate for the verdict, plain rules for the rest."""

from __future__ import annotations

from dataclasses import replace

from vibecheck.report.ink import DARK, LIGHT, Scheme

ON_PAPER = replace(LIGHT, paper="#ffffff")


def style() -> str:
    """The page's style sheet, light and dark, phone to paper."""
    return (
        f":root{{color-scheme:light dark;{_variables(LIGHT)}}}\n"
        f"@media (prefers-color-scheme:dark){{:root{{{_variables(DARK)}}}}}\n"
        f"{RULES}\n@media print{{:root{{{_variables(ON_PAPER)}}}{PRINT}}}"
    )


def _variables(scheme: Scheme) -> str:
    return "".join(f"--{name}:{colour};" for name, colour in scheme.tokens().items())


RULES = """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0 auto;max-width:46rem;padding:1rem;background:var(--paper);color:var(--ink);
 font:1rem/1.5 system-ui,sans-serif;overflow-wrap:anywhere}
h1,h2,h3,.plate .say{font-family:Rockwell,"Roboto Slab","Bitstream Charter",Georgia,serif;
 line-height:1.25;text-wrap:balance}
h1{font-size:1.05rem;margin:.2rem 0 1rem;color:var(--quiet);font-weight:600}
h2{font-size:1.3rem;margin:2.4rem 0 .6rem;padding-top:.6rem;border-top:2px solid var(--ink)}
h3{font-size:1.05rem;margin:1.4rem 0 .3rem}
p,ul,ol,dl{margin:.4rem 0 .8rem}
li{margin:.2rem 0}
.plate{position:relative;border:2px solid var(--ink);border-radius:.7rem;padding:1.3rem 1.9rem;
 margin:0 0 1.2rem;background:
 radial-gradient(circle .24rem at .8rem .8rem,var(--quiet) 95%,transparent),
 radial-gradient(circle .24rem at calc(100% - .8rem) .8rem,var(--quiet) 95%,transparent),
 radial-gradient(circle .24rem at .8rem calc(100% - .8rem),var(--quiet) 95%,transparent),
 radial-gradient(circle .24rem at calc(100% - .8rem) calc(100% - .8rem),var(--quiet) 95%,
 transparent),var(--shade0)}
.plate .say{font-size:1.45rem;font-weight:700;margin:0}
.plate .on{margin:.6rem 0 0;color:var(--quiet)}
.next{border-left:.35rem solid var(--cool);padding:.1rem 0 .1rem .9rem;margin:1rem 0}
.mind{border-left:.35rem solid var(--suspect);padding:.1rem 0 .1rem .9rem;margin:1rem 0}
.care{font-size:.9rem}
.sure{display:inline-flex;align-items:center;gap:.5rem;font-weight:600}
.bar{display:inline-block;flex:none;width:6rem;height:.6rem;border:1px solid var(--quiet);
 border-radius:.3rem;overflow:hidden;background:var(--shade0)}
.bar i{display:block;height:100%;background:var(--suspect)}
figure{margin:1rem 0}
figure svg{display:block;width:100%;max-width:35rem;height:auto}
figcaption{font-size:.92rem;color:var(--quiet)}
figcaption li{margin:.1rem 0}
.wide{overflow-x:auto;margin:0 0 1rem;overflow-wrap:normal}
table{border-collapse:collapse;font-size:.85rem;font-variant-numeric:tabular-nums}
.cap{font-weight:600;font-size:.85rem;margin:.8rem 0 .1rem}
th,td{text-align:right;padding:.22rem .55rem;border-bottom:1px solid var(--rule);
 vertical-align:top;white-space:nowrap}
th:first-child,td:first-child{text-align:left;padding-left:0}
td.say,th.say{text-align:left;white-space:normal;min-width:7.5rem}
thead th{color:var(--quiet);font-weight:600;border-bottom:1px solid var(--quiet)}
tr.named td{color:var(--suspect);font-weight:600}
code{font:.8rem/1.4 ui-monospace,monospace;overflow-wrap:anywhere}
dl{display:grid;grid-template-columns:minmax(6rem,max-content) 1fr;gap:.15rem 1rem}
dt{color:var(--quiet);font-size:.92rem}
dd{margin:0}
audio{width:100%;max-width:35rem}
footer{margin-top:2.5rem;border-top:1px solid var(--rule);padding-top:.6rem;color:var(--quiet);
 font-size:.85rem}
@media (max-width:30rem){.plate{padding:1.2rem 1.5rem}.plate .say{font-size:1.2rem}}
"""
PRINT = """
@page{margin:14mm}
body{max-width:none;padding:0;font-size:10pt}
h2{break-after:avoid}h3{break-after:avoid}
.paper{break-before:page}.cap{break-after:avoid}
figure,tr,.plate,.finding{break-inside:avoid}
figure svg{max-width:12cm}.first svg{max-width:8.5cm}
h1,.plate{margin-bottom:.5rem}p,ul,dl{margin:.2rem 0 .4rem}h3{margin:.7rem 0 .2rem}
.wide{overflow:visible}
table{font-size:7.5pt}th,td{padding:.12rem .3rem}
td,th{white-space:normal}
audio,.heard{display:none}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}
"""
