// Small helpers; every page works without them.
"use strict";

document.addEventListener("htmx:after:swap", () => {
  const wanted = [...document.querySelectorAll("[data-autofocus]")];
  wanted.at(-1)?.focus();
  wanted.forEach((element) => element.removeAttribute("data-autofocus"));
});

function say(text) {
  const line = document.querySelector("[role=status]");
  if (line) line.textContent = text;
}
document.addEventListener("htmx:error", () => say("That did not reach the server. Nothing was lost here; try again."));
document.addEventListener("htmx:response:error", () => say("The server could not do that. Nothing was half-saved."));

// A row of a long table can be narrowed as one types: <input data-narrow="#rows">.
document.addEventListener("input", (event) => {
  const target = event.target.dataset?.narrow;
  if (!target) return;
  const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
  let shown = 0;
  document.querySelectorAll(`${target} > tr`).forEach((row) => {
    row.hidden = !words.every((word) => row.textContent.toLowerCase().includes(word));
    shown += row.hidden ? 0 : 1;
  });
  say(`${shown} rows`);
});

// Deeds that cannot be taken back ask first: <form data-ask="Delete ...?">.
document.addEventListener("submit", (event) => {
  const question = event.target.dataset?.ask;
  if (question && !window.confirm(question)) { event.preventDefault(); return; }
  nameUntouched(event.target);
});

// Tells the server which fields were left as they came, so that a late save leaves alone what others changed there.
function nameUntouched(form) {
  if (!form.elements.version) return;
  const filled = (form.dataset.touched || "").split(" ");
  const seen = new Map();
  for (const field of form.elements) {
    if (!field.name || ["hidden", "submit", "button", "file"].includes(field.type)) continue;
    seen.set(field.name, (seen.get(field.name) ?? false) || filled.includes(field.name) || touched(field));
  }
  const names = [...seen].filter(([, changed]) => !changed).map(([name]) => name);
  form.querySelector("input[name=untouched]")?.remove();
  const line = Object.assign(document.createElement("input"), { type: "hidden", name: "untouched", value: names.join(" ") });
  form.append(line);
}

function touched(field) {
  if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
  if (field.options) {
    const first = [...field.options].findIndex((option) => option.defaultSelected);
    return field.selectedIndex !== Math.max(first, 0);
  }
  return field.value !== field.defaultValue;
}

// Selects that lead elsewhere: <select data-go>, options hold addresses.
document.addEventListener("change", (event) => {
  if (event.target.matches("select[data-submit]")) event.target.form.requestSubmit();
});

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
  const all = event.target.closest("[data-tick-all]");
  if (all) document.querySelectorAll(all.dataset.tickAll).forEach((box) => { box.checked = all.checked; });
});

// Runs of a drawing that change one part of the page: <div data-part="#bundle"> around links to the whole page.
document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-part] a[href]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  const part = link.closest("[data-part]").dataset.part;
  const address = link.getAttribute("href");
  document.querySelectorAll("[data-part] a.now").forEach((other) => other.classList.remove("now"));
  link.classList.add("now");
  window.htmx.ajax("GET", address.split("#")[0], { target: part, select: part, swap: "outerHTML" }).then(() => {
    window.history.replaceState(null, "", address.split("#")[0]);
    new URL(address, window.location).searchParams.forEach((value, name) => {
      const choice = document.querySelector(`select[name="${CSS.escape(name)}"]`);
      if (choice) choice.value = value;
    });
    const shown = document.querySelector(part);
    shown?.scrollIntoView({ block: "nearest" });
    shown?.focus({ preventScroll: true });
  });
});
