document.querySelectorAll("figure.zoom").forEach(function (figure) {
  "use strict";
  var svg = figure.querySelector("svg.layout"), tools = figure.querySelector(".tools"), told = tools.querySelector("output");
  var box = svg.viewBox.baseVal, whole = [box.x, box.y, box.width, box.height], drag = null;
  var steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  tools.hidden = false;
  svg.tabIndex = 0;
  function place(x, y) {
    box.x = Math.min(whole[0] + whole[2] - box.width, Math.max(whole[0], x));
    box.y = Math.min(whole[1] + whole[3] - box.height, Math.max(whole[1], y));
  }
  function zoom(by, x, y) {
    var width = by ? Math.min(whole[2], Math.max(whole[2] / 40, box.width * by)) : whole[2], k = width / box.width;
    box.width *= k; box.height *= k;
    place(x - (x - box.x) * k, y - (y - box.y) * k);
    svg.style.touchAction = width < whole[2] ? "none" : "";
  }
  function middle(by) { zoom(by, box.x + box.width / 2, box.y + box.height / 2); }
  tools.addEventListener("click", function (e) { if (e.target.dataset.zoom) middle(+e.target.dataset.zoom); });
  svg.addEventListener("keydown", function (e) {
    var step = steps[e.key];
    if (step && box.width < whole[2]) place(box.x + step[0] * box.width / 5, box.y + step[1] * box.height / 5);
    else if (e.key === "+") middle(0.7);
    else if (e.key === "-") middle(1.43);
    else if (e.key === "0") middle(0);
    else return;
    e.preventDefault();
  });
  svg.addEventListener("pointerover", function (e) {
    var title = e.target.querySelector && e.target !== svg ? e.target.querySelector("title") : null;
    told.textContent = title ? title.textContent : "";
  });
  svg.addEventListener("pointerdown", function (e) { drag = [e.clientX, e.clientY]; });
  window.addEventListener("pointerup", function () { drag = null; });
  svg.addEventListener("pointermove", function (e) {
    if (!drag || box.width >= whole[2]) return;
    var scale = 1 / svg.getScreenCTM().a;
    place(box.x - (e.clientX - drag[0]) * scale, box.y - (e.clientY - drag[1]) * scale);
    drag = [e.clientX, e.clientY];
  });
});
