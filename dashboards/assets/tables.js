// Builds the tables that stand as text in data-table. Every cell becomes text, never markup.
(function () {
  "use strict";
  function cell(kind, words, scope) {
    const made = document.createElement(kind);
    made.textContent = words;
    if (scope) made.scope = scope;
    return made;
  }
  function build(place) {
    const given = place.dataset.table;
    if (place.built === given) return;
    place.built = given;
    const { name, headings, rows, texts, marked } = JSON.parse(given);
    const table = document.createElement("table");
    const head = table.createTHead().insertRow();
    for (const words of headings) head.append(cell("th", words, "col"));
    const body = table.createTBody();
    rows.forEach(function (row, number) {
      const made = body.insertRow();
      if (marked.includes(number)) made.className = "marked";
      row.forEach(function (words, column) { made.append(cell(column ? "td" : "th", words, column ? "" : "row")); });
    });
    for (const row of table.rows) for (const column of texts) row.cells[column].className = "text";
    place.replaceChildren(table);
    for (const [key, value] of [["role", "region"], ["aria-label", name], ["tabindex", "0"]]) place.setAttribute(key, value);
  }
  function look() {
    for (const place of document.querySelectorAll("[data-table]")) build(place);
  }
  document.addEventListener("DOMContentLoaded", function () {
    new MutationObserver(look).observe(document.getElementById("react-entry-point") || document.body,
      { childList: true, subtree: true, attributes: true, attributeFilter: ["data-table"] });
    look();
  });
})();
