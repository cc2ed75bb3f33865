// Colours of the page, copying the constants, and what only a script can do coming into sight.
var dark = document.getElementById("dark");
var look = document.getElementById("look");
var BY_DEVICE = dark.media;

look.addEventListener("change", function () {
  dark.media = { light: "not all", dark: "screen" }[look.value] || BY_DEVICE;
});

var constants = document.getElementById("constants");
var details = document.getElementById("constants-details");
var copied = document.getElementById("copied");

function said(done) {
  copied.textContent = done
    ? "Copied: paste it into marquee_constants.h."
    : "This browser does not let a page copy: the text below is selected, copy it from there.";
}

// Pages opened from a file may be refused the clipboard; the older way copies what is selected in a field.
function copySelected() {
  var field = document.createElement("textarea");
  field.className = "skip";
  field.value = constants.textContent;
  copied.after(field);
  field.select();
  var done = false;
  try { done = document.execCommand("copy"); } catch (error) { done = false; }
  field.remove();
  document.getElementById("copy").focus();
  if (!done) {
    details.open = true;
    window.getSelection().selectAllChildren(constants);
  }
  said(done);
}

document.getElementById("copy").addEventListener("click", function () {
  if (!navigator.clipboard || !navigator.clipboard.writeText) { copySelected(); return; }
  navigator.clipboard.writeText(constants.textContent).then(function () { said(true); }, copySelected);
});

document.documentElement.classList.remove("no-script");
all(".script-only").forEach(function (part) { part.hidden = false; });
refresh();
