// The board: what is chosen stands out; a chosen branch point can be drawn along its runs; lengths are traced on a
// picture. Every deed is one of the page's forms, which work without this.
"use strict";

const SVG = "http://www.w3.org/2000/svg";
const board = document.querySelector("[data-board]");
const find = (attribute, value) => [...(board?.querySelectorAll(`[${attribute}]`) ?? [])]
  .find((element) => element.getAttribute(attribute) === value);

if (board) {
  const { run, node } = board.dataset;
  const chosen = run ? find("data-segment", run) : node ? find("data-key", `node:${node}`) : null;
  if (chosen) {
    chosen.classList.add("chosen");
    const [pane, box] = [board.getBoundingClientRect(), chosen.getBoundingClientRect()];
    board.scrollBy(box.x + box.width / 2 - pane.x - pane.width / 2, box.y + box.height / 2 - pane.y - pane.height / 2);
  }
  const form = document.querySelector("form[data-slide]");
  if (form) addHandle(form);
}

// A handle on the chosen branch point. The picture is true to scale, so its points are millimetres in a ratio.
function addHandle(form) {
  const runs = [...form.elements.out_of.options].map((option) => {
    const line = find("data-segment", option.value);
    if (!line) return null;
    // A run that closes a loop may be bent: what counts here is where it starts and how it leaves.
    const long = line.getTotalLength();
    const [start, step] = option.dataset.end === "a" ? [0, 1] : [long, -1];
    const [here, near] = [start, start + step * Math.min(long, 4)].map((at) => line.getPointAtLength(at));
    const away = Math.hypot(near.x - here.x, near.y - here.y);
    return { key: option.value, mm: Number(option.dataset.mm), line, x: here.x, y: here.y, long, dx: (near.x - here.x) / away, dy: (near.y - here.y) / away };
  });
  if (runs.includes(null) || runs.some((run) => !(run.long > 0))) return;
  const layer = runs[0].line.closest("g.piece");
  const handle = document.createElementNS(SVG, "circle");
  handle.setAttribute("class", "handle");
  handle.setAttribute("r", "9");
  // What it does stands beside it: a line above the page would push the picture away under the pointer.
  const words = document.createElementNS(SVG, "text");
  words.setAttribute("class", "handle-words");
  const put = (x, y, text) => {
    for (const [name, value] of [["cx", x], ["cy", y]]) handle.setAttribute(name, value);
    for (const [name, value] of [["x", x + 14], ["y", y - 14]]) words.setAttribute(name, value);
    words.textContent = text;
  };
  const rest = () => put(runs[0].x, runs[0].y, "");
  rest();
  layer.append(handle, words);

  const at = (event) => new DOMPoint(event.clientX, event.clientY).matrixTransform(layer.getScreenCTM().inverse());
  let from = null;
  let asked = null;
  handle.addEventListener("pointerdown", (event) => {
    from = at(event);
    handle.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  // Under a finger the pane would scroll instead: touch-action does not hold on a shape within a drawing.
  handle.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
  handle.addEventListener("pointermove", (event) => {
    if (!from) return;
    const to = at(event);
    const along = (run) => (to.x - from.x) * run.dx + (to.y - from.y) * run.dy;
    const out = runs.reduce((best, run) => (along(run) > along(best) ? run : best));
    const far = Math.min(Math.max(along(out), 0), out.long * 0.98);
    const by = Math.round((far / out.long) * out.mm / 5) * 5;
    // The run that lies most nearly opposite is the one that gets longer.
    const into = runs.filter((run) => run !== out)
      .reduce((best, run) => (run.dx * out.dx + run.dy * out.dy < best.dx * out.dx + best.dy * out.dy ? run : best));
    asked = by > 0 && by < out.mm ? { out, into, by } : null;
    form.elements.out_of.value = out.key;
    form.elements.into.value = into.key;
    form.elements.by_mm.value = by || "";
    put(out.x + out.dx * far, out.y + out.dy * far, `${by} mm into ${out.key}`);
  });
  handle.addEventListener("pointerup", () => {
    from = null;
    if (asked) form.requestSubmit(form.querySelector("[value=slide]"));
    else rest();
  });
  handle.addEventListener("pointercancel", () => { from = asked = null; form.elements.by_mm.value = ""; rest(); });
}

const tracing = document.querySelector("[data-tracing]");
if (tracing) startTracing(tracing);

function startTracing(part) {
  const [file, chosen, clear, pane, hint] = ["file", "run", "clear", "pane", "hint"]
    .map((name) => part.querySelector(`[data-tracing-${name}]`));
  const canvas = document.createElement("canvas");
  const context = canvas.getContext("2d");
  const traced = new Map();
  let picture = null;
  part.hidden = false;
  pane.append(canvas);

  function draw() {
    context.drawImage(picture, 0, 0, canvas.width, canvas.height);
    for (const [run, points] of traced) {
      context.lineWidth = run === chosen.value ? 4 : 2;
      for (const [colour, wider] of [["#fff", 3], ["#9a4a18", 0]]) {
        context.strokeStyle = context.fillStyle = colour;
        context.lineWidth += wider;
        context.beginPath();
        points.forEach(([x, y]) => context.lineTo(x, y));
        context.stroke();
        points.forEach(([x, y]) => { context.beginPath(); context.arc(x, y, 4, 0, 7); context.fill(); });
        context.lineWidth -= wider;
      }
    }
  }
  function write() {
    const points = traced.get(chosen.value) ?? [];
    const length = points.slice(1).reduce((sum, [x, y], i) => sum + Math.hypot(x - points[i][0], y - points[i][1]), 0);
    part.closest("form").elements[`on-${chosen.value}`].value = length ? length.toFixed(1) : "";
    draw();
  }
  file.addEventListener("change", async () => {
    if (!file.files[0]) return;
    try {
      picture = await createImageBitmap(file.files[0]);
    } catch {
      say("This file is not a picture that the browser can show. Choose a JPEG or PNG.");
      return;
    }
    const shrink = Math.min(1, 1600 / picture.width);
    canvas.width = picture.width * shrink;
    canvas.height = picture.height * shrink;
    pane.hidden = hint.hidden = false;
    traced.clear();
    draw();
  });
  canvas.addEventListener("click", (event) => {
    const box = canvas.getBoundingClientRect();
    const point = [(event.clientX - box.left) * canvas.width / box.width, (event.clientY - box.top) * canvas.height / box.height];
    traced.set(chosen.value, [...(traced.get(chosen.value) ?? []), point]);
    write();
  });
  clear.addEventListener("click", () => { traced.delete(chosen.value); if (picture) write(); });
  chosen.addEventListener("change", () => { if (picture) draw(); });
}
