// One zone's figures beside the drawing: pointer, tap, keyboard and the list all come to the same.
var panel = document.getElementById("panel");
var choose = document.getElementById("choose");
var ring = document.getElementById("ring");
var group = document.getElementById("zone-group");
var zones = all(".zone", group);
var pinned = null;
var shown = null;

function heads(table) {
  return all("thead th", table).map(function (head) { return head.textContent.trim(); });
}

// The figures are those of the tables below: read there, so that there is one copy of each.
function figuresOf(id) {
  var list = document.createElement("dl");
  var seen = new Set(["zone"]);
  ["zones-table", "colours-table", "leds-table"].forEach(function (name) {
    var table = document.getElementById(name);
    var row = table.querySelector('tr[data-zone="' + id + '"]');
    if (!row) return;
    var titles = heads(table);
    Array.from(row.cells).forEach(function (cell, index) {
      if (seen.has(titles[index])) return;
      seen.add(titles[index]);
      var pair = document.createElement("div");
      var term = document.createElement("dt");
      var value = document.createElement("dd");
      term.textContent = titles[index];
      Array.from(cell.childNodes).forEach(function (node) { value.append(node.cloneNode(true)); });
      if (titles[index] === "on a screen") {
        value.prepend(row.querySelector(".swatch").cloneNode(true), " ");
      }
      if (titles[index] === "chain numbers") pair.className = "whole";
      pair.append(term, value);
      list.append(pair);
    });
  });
  return list;
}

function showZone(id) {
  if (id === shown) return;
  shown = id;
  var target = id === null ? "" : "#z" + id;
  all("use", ring).forEach(function (use) { use.setAttribute("href", target); });
  panel.replaceChildren();
  if (id === null) return;
  panel.append(figuresOf(id));
}

function pin(id) {
  pinned = id;
  showZone(id);
  choose.value = id === null ? "" : id;
  zones.forEach(function (zone, index) {
    var own = zone.dataset.zone === id;
    zone.setAttribute("aria-checked", String(own));
    zone.setAttribute("tabindex", own || (id === null && index === 0) ? "0" : "-1");
  });
}

group.setAttribute("role", "radiogroup");
group.setAttribute("aria-label", "Zones");
zones.forEach(function (zone, index) {
  zone.setAttribute("role", "radio");
  zone.setAttribute("aria-label", "Zone " + zone.dataset.zone + ", " + zone.dataset.name);
  zone.addEventListener("pointerenter", function (event) {
    if (event.pointerType === "mouse") showZone(zone.dataset.zone);
  });
  zone.addEventListener("pointerleave", function (event) {
    if (event.pointerType === "mouse" && pinned !== null) showZone(pinned);
  });
  zone.addEventListener("click", function () { pin(zone.dataset.zone); });
  zone.addEventListener("focus", function () { pin(zone.dataset.zone); });
  zone.addEventListener("keydown", function (event) {
    var step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (event.key === "Escape") { pin(null); return; }
    if (event.key === " " || event.key === "Enter") { event.preventDefault(); pin(zone.dataset.zone); return; }
    if (!step) return;
    event.preventDefault();
    zones[(index + step + zones.length) % zones.length].focus();
  });
});
choose.addEventListener("change", function () { pin(choose.value === "" ? null : choose.value); });
pin(null);
