"""The workbench: a local page that shows how a stone handles light while the user changes its proportions.

`server` answers the page over one WebSocket; `static/` is the page: HTML, CSS and JavaScript modules as they are served,
without a build step and without other hosts. The page holds the designs, and every request is complete, so the server has no
state that an interruption or a restart could lose.

To add a panel to the left column (a finishing preview, a what-if), write one module beside `static/proportions.js` and list
it in `static/panels.js`; a further request becomes one more kind in `answers.KINDS`.
"""
