// Paints what /ab/events tells, and hands on what is pressed.

const WIDE = 320, HIGH = 110, LINE = 640;
let running = false, byHand = false;

const signed = (value) => `${value >= 0 ? "+" : "−"}${Math.abs(value).toFixed(1)}`;
const level = (value) => (value === null ? "–" : `${value < 0 ? "−" : ""}${Math.abs(value).toFixed(1)} dB`);
// Without its ends: only those of S/N hold at every moment.
const value = (it) => (it ? `${signed(it.value)} dB` : "–");
const change = (it) => (it ? `${signed(it.value)} dB (${signed(it.low)} to ${signed(it.high)})` : "–");

function spectrum(id, db, top) {
  const bottom = -3;
  const y = (value) => HIGH - ((Math.max(value, bottom) - bottom) / (top - bottom)) * (HIGH - 4);
  const lines = [0, 10, 20, 30, 40, 50, 60].filter((value) => value < top)
    .map((value) => drawn("line", { x1: 0, x2: WIDE, y1: y(value), y2: y(value) }));
  if (!db.length) return at(id).replaceChildren(...lines);
  const points = db.map((value, nth) => `${((nth / (db.length - 1)) * WIDE).toFixed(1)},${y(value).toFixed(1)}`);
  at(id).replaceChildren(...lines, drawn("path", { d: `M0,${HIGH} L${points.join(" L")} L${WIDE},${HIGH} Z` }));
}

function interval(it) {
  if (!it) return at("interval").replaceChildren();
  const reach = Math.max(6, Math.min(30, Math.ceil(Math.max(Math.abs(it.low), Math.abs(it.high)) / 3) * 3));
  const x = (value) => 10 + ((Math.max(-reach, Math.min(reach, value)) + reach) / (2 * reach)) * (LINE - 20);
  at("interval").replaceChildren(
    drawn("rect", { x: x(-1), width: x(1) - x(-1), y: 2, height: 24 }),
    drawn("line", { x1: x(-reach), x2: x(reach), y1: 14, y2: 14 }),
    drawn("line", { x1: x(0), x2: x(0), y1: 2, y2: 26 }),
    drawn("line", { class: "span", x1: x(it.low), x2: x(it.high), y1: 14, y2: 14 }),
    drawn("circle", { cx: x(it.value), cy: 14, r: 6 }),
    drawn("text", { x: 10, y: 42 }, `${signed(-reach)} dB`),
    drawn("text", { x: LINE - 10, y: 42, "text-anchor": "end" }, `S/N change with the stage in, ${signed(reach)} dB`),
  );
}

function route(path) {
  const side = path.endsWith("stage") ? "in" : "out";
  const made = element("span", path.startsWith("load") ? `load, ${side.toUpperCase()}` : side.toUpperCase());
  made.className = side;
  return made;
}

function paintView(view) {
  at("heard").hidden = false;
  byHand = view.by_hand;
  const dbs = [...view.out_curve.db, ...view.in_curve.db];
  const top = Math.max(10, ...dbs) + 2;
  spectrum("out", view.out_curve.db, top);
  spectrum("in", view.in_curve.db, top);
  const hz = view.hz;
  const shown = (value) => (value >= 1e5 ? `${(value / 1e3).toFixed(2)} kHz` : `${value.toFixed(0)} Hz`);
  write("scale", hz.length ? `From ${shown(hz[0])} to ${shown(hz[hz.length - 1])}; a line each 10 dB over the noise with the stage out.` : "");
  const rows = [
    ["signal", level(view.out.signal_db), level(view.within.signal_db), value(view.signal_change)],
    ["noise", level(view.out.noise_db), level(view.within.noise_db), value(view.noise_change)],
    ["S/N", level(view.out.snr_db), level(view.within.snr_db), change(view.snr_change)],
  ];
  if (view.meter) rows.push(["meter", ...view.meter]);
  at("levels").replaceChildren(...rows.map(([name, out, within, it]) => {
    const line = element("tr", "");
    const head = element("th", name);
    head.scope = "row";
    line.append(head, element("td", out), element("td", within), element("td", it));
    return line;
  }));
  interval(view.snr_change);
}

function paintRunning(view) {
  at("stands").replaceChildren("NOW ", route(view.path));
  const soon = view.to ? (view.switch_in_s > 0.4 ? ` in ${view.switch_in_s.toFixed(0)} s` : " now") : "";
  at("then").replaceChildren(...(view.to ? ["→ ", route(view.to), soon] : []), ` · ${view.edges} of ${view.planned} switchings · ${Math.round(view.left_s)} s left`);
  write("answer", view.answer);
  write("next", view.next);
  at("big").classList.toggle("due", byHand && !(view.switch_in_s > 0.4) && view.to !== null);
  const lines = [view.hint, view.still, view.sight, view.cap, view.trouble].filter(Boolean);
  at("lines").replaceChildren(...lines.map((text) => element("li", text)));
}

function paint(told) {
  running = told.running;
  at("asked").hidden = running;
  at("where").hidden = !running || !told.view;
  if (told.view) paintView(told.view);
  const hand = running && told.view !== null && byHand;
  write("big", !running ? (told.sentence ? "Once more" : "Begin") : hand ? "I have switched" : "End");
  at("load").hidden = at("stop").hidden = !hand;
  if (hand) write("load", told.view.path.startsWith("load") ? "Antenna is back" : "Load is in place");
  if (running && told.view) return paintRunning(told.view);
  at("big").classList.remove("due");
  if (running) {
    write("answer", "Listening …");
    write("next", "The sound input and the rig are being opened.");
  } else if (told.sentence) {
    const claim = "This holds for this tuning and this hour; nights of passes tell about nights.";
    write("answer", told.answer || "Nothing is claimed");
    write("next", told.answer ? `${told.sentence} ${claim}` : unclaimed(told.sentence));
    const lines = [...told.figures.map(([name, value]) => `${name}: ${value}`), ...told.lines];
    at("lines").replaceChildren(...lines.map((text) => element("li", text)));
  }
}

// The heading says that much already.
const unclaimed = (sentence) => sentence.replace(/^Nothing is claimed: ./, (all) => all.slice(-1).toUpperCase());

const ask = (path, body) => order(path, body, "said");

function begin() {
  const khz = at("hz").value.trim().replace(",", ".");
  const minutes = Number(at("minutes").value.trim().replace(",", "."));
  ask("/ab/begin", {
    hz: khz ? Math.round(Number(khz) * 1000) : null,
    minutes,
    by_hand: at("by-hand").checked,
    sound: at("sound").value || null,
    keep: at("keep").checked,
  });
}

function big() {
  if (!running) begin();
  else ask("/ab/press", { key: byHand ? "switched" : "stop" });
}

at("big").addEventListener("click", big);
at("load").addEventListener("click", () => ask("/ab/press", { key: "load" }));
at("stop").addEventListener("click", () => ask("/ab/press", { key: "stop" }));
at("asked").addEventListener("submit", (event) => event.preventDefault());
addEventListener("keydown", (event) => {
  if (!running || !byHand || event.repeat || event.target.tagName === "BUTTON") return;
  if (event.key === " ") {
    event.preventDefault();
    ask("/ab/press", { key: "switched" });
  } else if (event.key === "l" || event.key === "L") ask("/ab/press", { key: "load" });
});

follow("/ab/events", paint);
