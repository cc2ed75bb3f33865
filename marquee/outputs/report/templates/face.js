// Layers, light, front or back, and size of the drawing.
var part = document.getElementById("face-part");
var face = document.getElementById("face");
var stage = document.getElementById("stage");
var turned = document.getElementById("turned");
var viewName = document.getElementById("view-name");
var faceWidth = Number(face.dataset.width);
var steps = [1, 5, 10, 50, 100];
var zoom = 1;
var MOST_ZOOM = 16;

function all(selector, root) {
  return Array.from((root || document).querySelectorAll(selector));
}

function show(layer, on) {
  part.classList.toggle("no-" + layer, !on);
  all(".key-" + layer + ", .legend-" + layer).forEach(function (note) {
    note.classList.toggle("off", !on);
  });
}

function showLight(which) {
  ["luminance", "bleed"].forEach(function (layer) { show(layer, layer === which); });
}

function turn(back) {
  face.classList.toggle("back", back);
  if (back) turned.setAttribute("transform", "matrix(-1 0 0 1 " + faceWidth + " 0)");
  else turned.removeAttribute("transform");
  viewName.querySelector("strong").textContent = back ? "BACK VIEW" : "FRONT VIEW";
  viewName.querySelector("span").textContent = back
    ? "mirrored, as you look at the rear" : "as you look at the sign";
}

// The width at which the whole face is seen without scrolling [px].
function fitWidth() {
  var box = face.viewBox.baseVal;
  return Math.min(stage.clientWidth, 0.82 * window.innerHeight * box.width / box.height);
}

function refresh() {
  var box = face.viewBox.baseVal;
  var width = fitWidth() * zoom;
  var mmPerPx = box.width / width;
  face.style.width = width + "px";
  face.style.setProperty("--u", String(mmPerPx));
  // Chain numbers stand at least 24 px apart, numbers of small apertures and short walls need room.
  var pitch = Number(face.dataset.pitch) / mmPerPx;
  var small = width < 560;
  var apart = Number(face.dataset.rows) / mmPerPx;
  face.style.setProperty("--s", small ? "10" : "12");
  steps.forEach(function (step) { face.classList.remove("steps-" + step); });
  // Rows too near each other for a line of figures carry none.
  if (apart >= 15) face.classList.add("steps-" + (steps.find(function (step) { return step * pitch >= 24; }) || 100));
  all("[data-room]", face).forEach(function (label) {
    label.classList.toggle("tight", Number(label.dataset.room) / mmPerPx < (label.matches(".wall-number") ? 22 : 11));
  });
}

// Keep the place under (x, y) of the stage where it is.
function zoomTo(wanted, x, y) {
  var before = face.getBoundingClientRect();
  var frame = stage.getBoundingClientRect();
  var px = x === undefined ? frame.left + stage.clientWidth / 2 : x;
  var py = y === undefined ? frame.top + stage.clientHeight / 2 : y;
  var across = (px - before.left) / before.width;
  var down = (py - before.top) / before.height;
  zoom = Math.min(MOST_ZOOM, Math.max(1, wanted));
  refresh();
  var after = face.getBoundingClientRect();
  stage.scrollLeft += after.left + across * after.width - px;
  stage.scrollTop += after.top + down * after.height - py;
}

all("[data-layer]").forEach(function (box) {
  var apply = function () { show(box.dataset.layer, box.checked); };
  box.addEventListener("change", apply);
  apply();
});
all("[name=light]").forEach(function (choice) {
  choice.addEventListener("change", function () { if (choice.checked) showLight(choice.value); });
  if (choice.checked) showLight(choice.value);
});
all("[name=side]").forEach(function (choice) {
  choice.addEventListener("change", function () { if (choice.checked) turn(choice.value === "back"); });
  if (choice.checked) turn(choice.value === "back");
});

document.getElementById("closer").addEventListener("click", function () { zoomTo(zoom * 1.5); });
document.getElementById("farther").addEventListener("click", function () { zoomTo(zoom / 1.5); });
document.getElementById("whole").addEventListener("click", function () { zoomTo(1); });
stage.addEventListener("wheel", function (event) {
  if (!event.ctrlKey && !event.metaKey) return;
  event.preventDefault();
  zoomTo(zoom * Math.exp(-event.deltaY / 300), event.clientX, event.clientY);
}, { passive: false });

// Two fingers on the drawing change its size; one finger scrolls as everywhere.
var fingers = new Map();
var pinch = null;
function spread() {
  var p = Array.from(fingers.values());
  return { apart: Math.hypot(p[0].x - p[1].x, p[0].y - p[1].y), x: (p[0].x + p[1].x) / 2, y: (p[0].y + p[1].y) / 2 };
}
function lift(event) {
  fingers.delete(event.pointerId);
  pinch = null;
}
stage.addEventListener("pointerdown", function (event) {
  if (event.pointerType !== "touch") return;
  fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  pinch = fingers.size === 2 ? { apart: spread().apart, zoom: zoom } : null;
});
stage.addEventListener("pointermove", function (event) {
  if (!fingers.has(event.pointerId)) return;
  fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  if (!pinch || fingers.size !== 2) return;
  var now = spread();
  zoomTo(pinch.zoom * now.apart / Math.max(pinch.apart, 1), now.x, now.y);
});
stage.addEventListener("pointerup", lift);
stage.addEventListener("pointercancel", lift);
stage.addEventListener("pointerleave", lift);

face.classList.add("sized");
window.addEventListener("resize", refresh);
