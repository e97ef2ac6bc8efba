// The button that prints the sheet; it is drawn later than this is read.
document.addEventListener("click", function (event) {
  if (event.target.closest("#mix-print")) window.print();
});
