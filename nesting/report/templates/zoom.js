(function () {
  "use strict";
  var svg = document.querySelector("svg.layout"), tools = document.querySelector(".tools");
  var box = svg.viewBox.baseVal, whole = [box.x, box.y, box.width, box.height], drag = null;
  tools.hidden = false;
  function zoom(by, x, y) {
    if (!by) { box.x = whole[0]; box.y = whole[1]; box.width = whole[2]; box.height = whole[3]; return; }
    var width = Math.min(whole[2], Math.max(whole[2] / 40, box.width * by)), k = width / box.width;
    box.x = x - (x - box.x) * k; box.y = y - (y - box.y) * k; box.width *= k; box.height *= k;
  }
  tools.addEventListener("click", function (e) {
    if (e.target.dataset.zoom) zoom(+e.target.dataset.zoom, box.x + box.width / 2, box.y + box.height / 2);
  });
  svg.addEventListener("pointerdown", function (e) { drag = [e.clientX, e.clientY]; });
  window.addEventListener("pointerup", function () { drag = null; });
  svg.addEventListener("pointermove", function (e) {
    if (!drag || box.width >= whole[2]) return;
    var scale = 1 / svg.getScreenCTM().a;
    box.x -= (e.clientX - drag[0]) * scale; box.y -= (e.clientY - drag[1]) * scale; drag = [e.clientX, e.clientY];
  });
})();
