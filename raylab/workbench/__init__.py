"""The workbench: a page on the user's own machine that shows what a stone does with light while its proportions are turned.

`server` answers the page over one WebSocket; `static/` is the page: HTML, CSS and JavaScript modules as they are served, no
build step, nothing fetched from elsewhere. The page holds the designs and says with every question what it means, so the
server keeps nothing that a cut link or a restart could lose.

To add a panel to the left column (a finishing preview, a what-if), write one module beside `static/proportions.js` and name
it in `static/panels.js`; what it needs from Python becomes one more kind of question in `answers.KINDS`.
"""
