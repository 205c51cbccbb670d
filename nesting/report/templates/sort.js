(function () {
  "use strict";
  var number = /^-?\d+(\.\d+)?(?=$|[\s,%])/;
  function key(row, column) {
    var cell = row.cells[column], text = cell.dataset.sort || cell.textContent.trim();
    return { text: text, value: number.test(text) ? parseFloat(text) : null, none: text === "" || text === "unknown" };
  }
  function compare(a, b, sign) {
    if (a.none || b.none) return a.none - b.none;
    if (a.value !== null && b.value !== null && a.value !== b.value) return sign * (a.value - b.value);
    return sign * a.text.localeCompare(b.text, undefined, { numeric: true });
  }
  function sort(table, column, heads) {
    var sign = heads[column].getAttribute("aria-sort") === "ascending" ? -1 : 1, body = table.tBodies[0];
    heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
    heads[column].setAttribute("aria-sort", sign > 0 ? "ascending" : "descending");
    Array.from(body.rows)
      .map(function (row) { return { row: row, key: key(row, column) }; })
      .sort(function (a, b) { return compare(a.key, b.key, sign); })
      .forEach(function (found) { body.appendChild(found.row); });
  }
  document.querySelectorAll("table.sortable").forEach(function (table) {
    var heads = Array.from(table.tHead.rows[0].cells);
    heads.forEach(function (head, column) {
      // A span, since heads that hold a button element are not printed again on the next sheet.
      var button = document.createElement("span");
      button.setAttribute("role", "button");
      button.tabIndex = 0;
      button.title = "sort by this column";
      while (head.firstChild) button.appendChild(head.firstChild);
      head.appendChild(button);
      button.addEventListener("click", function () { sort(table, column, heads); });
      button.addEventListener("keydown", function (e) {
        if (e.key !== "Enter" && e.key !== " ") return;
        e.preventDefault();
        sort(table, column, heads);
      });
    });
  });
})();
