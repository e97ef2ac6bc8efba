// Copies the text that a button names. Browsers give the clipboard only to pages over https or on the same computer;
// elsewhere the text is marked, so that it can be copied by hand.
document.addEventListener("click", async function (event) {
  "use strict";
  const button = event.target.closest("[data-copies]");
  if (!button) return;
  const text = document.getElementById(button.dataset.copies), said = document.getElementById("rig-copied");
  try {
    await navigator.clipboard.writeText(text.textContent);
    said.textContent = "Copied.";
  } catch (_) {
    getSelection().selectAllChildren(text);
    said.textContent = "Marked: copy it with your device's own Copy.";
  }
});
