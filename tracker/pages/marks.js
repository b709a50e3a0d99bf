"use strict";

// Pixels are continuous: pixel i covers i to i + 1, so its centre is at i + 0.5.
const LOUPE_SCALE = 8;
const NUDGE_PX = 0.25;
const FAR_NUDGE_PX = 2;
const GRAB_SCREEN_PX = 9;
const MOVED_SCREEN_PX = 4;
const MAX_SCALE = 32;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

const at = (id) => document.getElementById(id);
const frame = at("frame");
const loupe = at("loupe");
const image = new Image();

let setup = null;
let guides = [];
let marks = {};
let chosen = null;
let past = [];
let future = [];
let saved = true;
let view = { x: 0, y: 0, scale: 1 };
let cross = { x: 0, y: 0 };
let press = null;

function clampPoint(p) {
  const round = (v, top) => Math.min(Math.max(Math.round(v * 100) / 100, 0), top);
  return { x: round(p.x, setup.width), y: round(p.y, setup.height) };
}

function toImage(screen) {
  return { x: view.x + screen.x / view.scale, y: view.y + screen.y / view.scale };
}

function toScreen(p) {
  return { x: (p.x - view.x) * view.scale, y: (p.y - view.y) * view.scale };
}

function fitScale() {
  return Math.min(frame.clientWidth / setup.width, frame.clientHeight / setup.height);
}

function keepInView() {
  const spanX = frame.clientWidth / view.scale;
  const spanY = frame.clientHeight / view.scale;
  const place = (v, span, size) => (span >= size ? (size - span) / 2 : Math.min(Math.max(v, 0), size - span));
  view.x = place(view.x, spanX, setup.width);
  view.y = place(view.y, spanY, setup.height);
}

function zoom(factor, screen) {
  const middle = screen || { x: frame.clientWidth / 2, y: frame.clientHeight / 2 };
  const fixed = toImage(middle);
  view.scale = Math.min(Math.max(view.scale * factor, fitScale()), MAX_SCALE);
  view.x = fixed.x - middle.x / view.scale;
  view.y = fixed.y - middle.y / view.scale;
  keepInView();
  draw();
}

function zoomAtChosen(factor) {
  zoom(factor, toScreen(marks[chosen] || cross));
}

function wholeFrame() {
  view = { x: 0, y: 0, scale: fitScale() };
  keepInView();
  draw();
}

function showPoint(p) {
  const s = toScreen(p);
  if (s.x < 0 || s.y < 0 || s.x > frame.clientWidth || s.y > frame.clientHeight) {
    view.x = p.x - frame.clientWidth / view.scale / 2;
    view.y = p.y - frame.clientHeight / view.scale / 2;
    keepInView();
  }
}

function drawCross(ctx, s, strong) {
  const arm = strong ? 11 : 7;
  for (const [colour, width] of [["#000", 4], [strong ? "#ffd23f" : "#fff", 1.5]]) {
    ctx.strokeStyle = colour;
    ctx.lineWidth = width;
    ctx.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      ctx.moveTo(s.x + 2.5 * dx, s.y + 2.5 * dy);
      ctx.lineTo(s.x + arm * dx, s.y + arm * dy);
    }
    ctx.stroke();
  }
}

function drawLabel(ctx, s, name, taken) {
  ctx.font = "12px system-ui, sans-serif";
  const box = { left: s.x + 9, right: s.x + 11 + ctx.measureText(name).width, top: s.y - 19, bottom: s.y - 4 };
  const clash = (o) => box.left < o.right && o.left < box.right && box.top < o.bottom && o.top < box.bottom;
  if (taken.some(clash)) return;
  taken.push(box);
  ctx.lineWidth = 3;
  ctx.strokeStyle = "#000";
  ctx.fillStyle = name === chosen ? "#ffd23f" : "#fff";
  ctx.strokeText(name, box.left, s.y - 7);
  ctx.fillText(name, box.left, s.y - 7);
}

function draw() {
  if (!setup) return;
  const ratio = window.devicePixelRatio || 1;
  const width = Math.round(frame.clientWidth * ratio);
  const height = Math.round(frame.clientHeight * ratio);
  if (frame.width !== width || frame.height !== height) {
    frame.width = width;
    frame.height = height;
  }
  const ctx = frame.getContext("2d");
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, frame.clientWidth, frame.clientHeight);
  ctx.imageSmoothingEnabled = view.scale < 2;
  const corner = toScreen({ x: 0, y: 0 });
  ctx.drawImage(image, corner.x, corner.y, setup.width * view.scale, setup.height * view.scale);
  const taken = [];
  const names = Object.keys(marks).sort((a, b) => (b === chosen) - (a === chosen));
  for (const name of names) drawLabel(ctx, toScreen(marks[name]), name, taken);
  for (const name of names) drawCross(ctx, toScreen(marks[name]), name === chosen);
  if (!marks[chosen] && document.activeElement === frame) drawCross(ctx, toScreen(cross), true);
  drawLoupe();
}

function drawLoupe() {
  const ctx = loupe.getContext("2d");
  const half = loupe.width / 2;
  ctx.fillStyle = "#101010";
  ctx.fillRect(0, 0, loupe.width, loupe.height);
  ctx.imageSmoothingEnabled = false;
  ctx.drawImage(image, half - cross.x * LOUPE_SCALE, half - cross.y * LOUPE_SCALE, setup.width * LOUPE_SCALE, setup.height * LOUPE_SCALE);
  for (const name of Object.keys(marks)) {
    const s = { x: half + (marks[name].x - cross.x) * LOUPE_SCALE, y: half + (marks[name].y - cross.y) * LOUPE_SCALE };
    drawCross(ctx, s, name === chosen);
  }
  if (!marks[chosen]) drawCross(ctx, { x: half, y: half }, true);
  at("where").textContent = `x ${cross.x.toFixed(2)}\ny ${cross.y.toFixed(2)}`;
}

function guideOf(name) {
  return guides.find((g) => g.name === name);
}

function choose(name, quiet) {
  chosen = name;
  if (marks[name]) {
    cross = { ...marks[name] };
    showPoint(cross);
  }
  const guide = guideOf(name);
  if (!quiet) at("task").textContent = `${guide.title}. ${guide.meaning}`;
  refresh();
}

function step(direction) {
  const index = guides.findIndex((g) => g.name === chosen);
  choose(guides[(index + direction + guides.length) % guides.length].name);
}

function chooseNextOpen() {
  const from = guides.findIndex((g) => g.name === chosen);
  const order = guides.slice(from + 1).concat(guides.slice(0, from));
  const next = order.find((g) => !marks[g.name] && g.listed);
  if (next) choose(next.name);
  else refresh();
}

function remember() {
  past.push(JSON.stringify({ marks, chosen }));
  future = [];
}

function travel(from, to) {
  if (!from.length) return;
  to.push(JSON.stringify({ marks, chosen }));
  const then = JSON.parse(from.pop());
  marks = then.marks;
  changed();
  for (const name of Object.keys(marks)) addEdgeGuides(name);
  choose(then.chosen);
}

function changed() {
  saved = false;
  at("finish").hidden = true;
  at("verdict").textContent = "";
  at("verdict").classList.remove("refused");
}

function put(name, p) {
  marks[name] = clampPoint(p);
  cross = { ...marks[name] };
  changed();
}

function place(p) {
  const fresh = !marks[chosen];
  remember();
  put(chosen, p);
  if (fresh) chooseNextOpen();
  else refresh();
}

function removeChosen() {
  if (!marks[chosen]) return;
  remember();
  delete marks[chosen];
  changed();
  choose(chosen);
}

function addEdgeGuides(name) {
  const edge = /^(left|right)_edge_(\d+)$/.exec(name);
  if (!edge || guideOf(name)) return;
  const first = guideOf(`${edge[1]}_edge_1`);
  const last = guides.findLastIndex((g) => g.group === first.group);
  guides.splice(last + 1, 0, { ...first, name, title: first.title.replace(/\d+$/, edge[2]) });
}

function oneMoreEdge(group) {
  const numbers = guides.filter((g) => g.group === group).map((g) => Number(g.name.split("_")[2]));
  const side = group.startsWith("Left") ? "left" : "right";
  const name = `${side}_edge_${Math.max(...numbers) + 1}`;
  addEdgeGuides(name);
  choose(name);
  frame.focus();
}

function listItem(guide) {
  const button = document.createElement("button");
  const placed = marks[guide.name];
  const where = document.createElement("small");
  button.type = "button";
  button.dataset.mark = guide.name;
  button.title = guide.meaning;
  button.setAttribute("aria-current", String(guide.name === chosen));
  where.textContent = placed ? `\u2713 ${placed.x.toFixed(2)}, ${placed.y.toFixed(2)}` : "open";
  button.append(guide.title, where);
  button.addEventListener("click", () => {
    choose(guide.name);
    frame.focus();
  });
  const item = document.createElement("li");
  item.append(button);
  return item;
}

function listGroup(group) {
  const inside = guides.filter((g) => g.group === group);
  const heading = document.createElement("h2");
  const list = document.createElement("ol");
  heading.textContent = group;
  const usual = inside.filter((g) => g.listed || marks[g.name] || g.name === chosen);
  list.append(...usual.map(listItem));
  const nodes = [heading, list];
  const rest = inside.filter((g) => !usual.includes(g));
  if (rest.length) {
    const more = document.createElement("details");
    const summary = document.createElement("summary");
    const hidden = document.createElement("ol");
    summary.textContent = "More";
    hidden.append(...rest.map(listItem));
    more.append(summary, hidden);
    nodes.push(more);
  }
  if (/ edge$/.test(group)) {
    const add = document.createElement("button");
    add.type = "button";
    add.textContent = "One more point";
    add.setAttribute("aria-label", `One more point on the ${group.toLowerCase()}`);
    add.addEventListener("click", () => oneMoreEdge(group));
    nodes.push(add);
  }
  return nodes;
}

function showChosenInList() {
  const current = at("list").querySelector('[aria-current="true"]');
  if (current) current.scrollIntoView({ block: "nearest" });
}

function refresh() {
  const list = at("list");
  const focus = list.contains(document.activeElement) ? document.activeElement.dataset.mark : null;
  const top = list.scrollTop;
  list.replaceChildren(...[...new Set(guides.map((g) => g.group))].flatMap(listGroup));
  list.scrollTop = top;
  showChosenInList();
  if (focus) list.querySelector(`[data-mark="${focus}"]`)?.focus({ preventScroll: true });
  at("count").textContent = `${Object.keys(marks).length} marked`;
  at("undo").disabled = !past.length;
  at("redo").disabled = !future.length;
  at("remove").disabled = !marks[chosen];
  draw();
}

function pointerIn(element, event) {
  const box = element.getBoundingClientRect();
  return { x: event.clientX - box.left, y: event.clientY - box.top };
}

function markNear(screen) {
  const distance = (name) => {
    const s = toScreen(marks[name]);
    return Math.hypot(s.x - screen.x, s.y - screen.y);
  };
  const names = Object.keys(marks).filter((name) => distance(name) <= GRAB_SCREEN_PX);
  names.sort((a, b) => distance(a) - distance(b));
  return names.includes(chosen) ? chosen : names[0] || null;
}

frame.addEventListener("pointerdown", (event) => {
  if (event.button !== 0 || !setup) return;
  const screen = pointerIn(frame, event);
  frame.focus();
  frame.setPointerCapture(event.pointerId);
  press = { screen, view: { ...view }, mark: markNear(screen), moved: false };
  if (press.mark) {
    choose(press.mark);
    press.start = { ...marks[press.mark] };
  }
});

frame.addEventListener("pointermove", (event) => {
  if (!setup) return;
  const screen = pointerIn(frame, event);
  if (press) {
    const dx = screen.x - press.screen.x;
    const dy = screen.y - press.screen.y;
    if (!press.moved && Math.hypot(dx, dy) > MOVED_SCREEN_PX) {
      press.moved = true;
      if (press.mark) remember();
    }
    if (press.moved && press.mark) {
      put(press.mark, { x: press.start.x + dx / view.scale, y: press.start.y + dy / view.scale });
    } else if (press.moved) {
      view.x = press.view.x - dx / view.scale;
      view.y = press.view.y - dy / view.scale;
      keepInView();
    }
  } else {
    cross = clampPoint(toImage(screen));
  }
  draw();
});

frame.addEventListener("pointerup", (event) => {
  if (!press) return;
  const { moved, mark } = press;
  press = null;
  if (!moved && !mark) place(toImage(pointerIn(frame, event)));
  else refresh();
});

frame.addEventListener("pointercancel", () => {
  press = null;
  refresh();
});

frame.addEventListener("pointerleave", () => {
  if (!press && marks[chosen]) {
    cross = { ...marks[chosen] };
    draw();
  }
});

frame.addEventListener(
  "wheel",
  (event) => {
    event.preventDefault();
    zoom(event.deltaY < 0 ? 1.25 : 0.8, pointerIn(frame, event));
  },
  { passive: false },
);

loupe.addEventListener("click", (event) => {
  const s = pointerIn(loupe, event);
  const shown = loupe.getBoundingClientRect().width / loupe.width;
  const half = loupe.width / 2;
  place({ x: cross.x + (s.x / shown - half) / LOUPE_SCALE, y: cross.y + (s.y / shown - half) / LOUPE_SCALE });
});

function nudge(direction, far) {
  const placed = marks[chosen];
  const size = placed ? (far ? FAR_NUDGE_PX : NUDGE_PX) : (far ? 10 : 1) / Math.min(view.scale, 1);
  const p = { x: (placed || cross).x + direction[0] * size, y: (placed || cross).y + direction[1] * size };
  if (placed) {
    remember();
    put(chosen, p);
    refresh();
  } else {
    cross = clampPoint(p);
    showPoint(cross);
    draw();
  }
}

frame.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !setup) return;
  const actions = {
    Enter: () => !marks[chosen] && place(cross),
    Delete: removeChosen,
    Backspace: removeChosen,
    n: () => step(1),
    p: () => step(-1),
    "+": () => zoomAtChosen(1.25),
    "=": () => zoomAtChosen(1.25),
    "-": () => zoomAtChosen(0.8),
    0: wholeFrame,
  };
  const act = ARROWS[event.key] ? () => nudge(ARROWS[event.key], event.shiftKey) : actions[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!act) return;
  event.preventDefault();
  act();
});

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || !setup) return;
  const key = event.key.toLowerCase();
  const again = key === "y" || (key === "z" && event.shiftKey);
  if (key !== "z" && !again) return;
  event.preventDefault();
  if (again) travel(future, past);
  else travel(past, future);
});

frame.addEventListener("focus", draw);
frame.addEventListener("blur", draw);
at("closer").addEventListener("click", () => zoomAtChosen(1.5));
at("wider").addEventListener("click", () => zoomAtChosen(1 / 1.5));
at("whole").addEventListener("click", wholeFrame);
at("undo").addEventListener("click", () => travel(past, future));
at("redo").addEventListener("click", () => travel(future, past));
at("remove").addEventListener("click", removeChosen);
new ResizeObserver(() => setup && (view.scale < fitScale() ? wholeFrame() : (keepInView(), draw()))).observe(frame);
window.addEventListener("beforeunload", (event) => !saved && event.preventDefault());

async function post(name, data) {
  const request = { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(data) };
  const reply = await fetch(name, request);
  return { ok: reply.ok, message: (await reply.json()).message };
}

function tell(message, refused) {
  at("verdict").textContent = message;
  at("verdict").classList.toggle("refused", refused);
  showChosenInList();
}

async function save() {
  const pixels = Object.fromEntries(Object.entries(marks).map(([name, p]) => [name, [p.x, p.y]]));
  const before = JSON.stringify(marks);
  at("save").disabled = true;
  tell("Checking ..", false);
  try {
    const reply = await post("save", { marks_px: pixels });
    if (JSON.stringify(marks) !== before) return;
    tell(reply.message, !reply.ok);
    at("finish").hidden = !reply.ok;
    if (reply.ok) at("finish").focus();
  } catch {
    tell("The program no longer answers. Was it stopped?", true);
  } finally {
    at("save").disabled = false;
  }
}

async function leave(name, words) {
  try {
    const reply = await post(name, {});
    if (!reply.ok) {
      tell(reply.message, true);
      return;
    }
  } catch {
    tell("The program no longer answers. Was it stopped?", true);
    return;
  }
  saved = true;
  setup = null;
  const end = document.createElement("p");
  end.id = "over";
  end.textContent = words;
  end.tabIndex = -1;
  document.querySelector("main").replaceChildren(end);
  at("task").textContent = "";
  end.focus();
}

at("end").addEventListener("submit", (event) => {
  event.preventDefault();
  save();
});
at("finish").addEventListener("click", () => leave("finish", "Done. The marks are kept; this page can be closed."));
at("stop").addEventListener("click", () => leave("stop", "Stopped. Nothing was kept; this page can be closed."));

async function begin() {
  const given = await (await fetch("setup.json")).json();
  image.src = "frame.png";
  await image.decode();
  setup = given;
  guides = given.guides;
  at("clip").textContent = given.clip;
  for (const [name, [x, y]] of Object.entries(given.marks_px)) {
    addEdgeGuides(name);
    marks[name] = { x, y };
  }
  cross = { x: given.width / 2, y: given.height / 2 };
  wholeFrame();
  choose((guides.find((g) => !marks[g.name] && g.listed) || guides[0]).name);
  document.body.dataset.ready = "1";
}

begin().catch(() => {
  at("task").textContent = "The frame could not be loaded. Was the program stopped?";
});
