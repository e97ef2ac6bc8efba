// The button that prints what is on the page; it is drawn later than this is read.
document.addEventListener("click", function (event) {
  if (event.target.closest(".prints")) window.print();
});
