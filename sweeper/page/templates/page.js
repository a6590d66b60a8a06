// Paints what /events tells.

const PATHS = {
  "antenna-bypass": "antenna, bypass",
  "antenna-stage": "antenna, stage in",
  "load-bypass": "load, bypass",
  "load-stage": "load, stage in",
};

function paintNow(now) {
  write("heading", now.heading);
  write("why", now.why);
  write("next", now.next);
  write("relays", now.relays);
  write("holder", now.holder);
  write("health", now.health);
  write("wear", now.wear || "–");
  write("trouble", now.trouble);
  at("trouble").hidden = !now.trouble;
  const progress = now.progress;
  at("progress-line").hidden = !progress;
  if (progress) {
    write("progress-words", `Pass ${progress.pass}, visit ${progress.nth} of ${progress.visits}`);
    at("progress").max = progress.visits;
    at("progress").value = progress.nth;
  }
  const paused = now.doing === "paused";
  const had = document.activeElement;
  at("pause").disabled = !now.alive;
  at("pause").hidden = paused;
  at("resume").hidden = !paused;
  if (had === at("pause") && paused) at("resume").focus();
  if (had === at("resume") && !paused) at("pause").focus();
  paintPaths(now.paths);
  paintSpectrum(now.spectrum);
  paintPasses(now.passes);
}

function paintPaths(rows) {
  const body = at("paths").tBodies[0];
  body.replaceChildren(...rows.map((row) => {
    const line = element("tr");
    const head = element("th", row.band);
    head.scope = "row";
    head.append(element("small", ` ${row.channel}`));
    line.append(head);
    for (const [path, words] of Object.entries(PATHS)) {
      const cell = row.cells[path];
      const made = element("td", cell ? (cell.low === cell.high ? cell.low : `${cell.low} to ${cell.high}`) : "–");
      made.dataset.path = words; // a phone, which has no room for the heading, shows it beside the value
      if (cell) made.append(element("small", cell.flags ? `${cell.time}, ${cell.flags}` : cell.time));
      line.append(made);
    }
    return line;
  }));
}

function paintSpectrum(heard) {
  at("fold-heard").hidden = !heard;
  if (!heard) return;
  write("heard-where", heard.heading);
  write("heard-scale", heard.scale);
  at("heard").replaceChildren(...Object.keys(PATHS).filter((path) => heard.lines[path]).reverse().map((path) => {
    const line = heard.lines[path];
    const x = (nth) => Math.round((480 * nth) / Math.max(1, line.length - 1));
    const y = (level) => Math.round(2 + (136 * (heard.high - level)) / Math.max(1, heard.high - heard.low));
    let pen = "M";
    const steps = line.map((level, nth) => {
      if (level === null) { pen = "M"; return ""; }
      const step = `${pen}${x(nth)} ${y(level)}`;
      pen = "L";
      return step;
    });
    return drawn("path", { class: path, d: steps.join("") });
  }));
  for (const [low, high] of heard.humps) at("heard").append(drawn("path", { class: "hump", d: `M${480 * low} 139v-7H${480 * high}v7` }));
}

function paintPasses(passes) {
  at("passes").replaceChildren(...passes.map((each) => {
    const detail = each.because || `${each.readings} reading${each.readings === 1 ? "" : "s"}`;
    return element("li", `${each.time}  pass ${each.number} ${each.outcome}: ${detail}`, each.outcome);
  }));
}

function funnel(steps, worthwhile) {
  const ends = steps.flatMap((step) => [step[1], step[2]]);
  const reach = Math.max(2 * worthwhile, Math.min(12, Math.max(...ends.map(Math.abs))));
  const wide = 300, high = 60, y = (value) => high / 2 - (value / reach) * (high / 2 - 4);
  const x = (nth) => 8 + nth * Math.min(12, (wide - 16) / Math.max(1, steps.length - 1));
  const picture = drawn("svg", { viewBox: `0 0 ${wide} ${high}`, class: "funnel", "aria-hidden": "true", preserveAspectRatio: "none" });
  picture.append(drawn("rect", { class: "plain", x: 0, y: y(worthwhile), width: wide, height: y(-worthwhile) - y(worthwhile) }));
  picture.append(drawn("line", { class: "zero", x1: 0, x2: wide, y1: y(0), y2: y(0) }));
  steps.forEach((step, nth) => {
    const [value, low, top] = step;
    picture.append(drawn("line", { class: "span", x1: x(nth), x2: x(nth), y1: y(Math.max(-reach, low)), y2: y(Math.min(reach, top)) }));
    picture.append(drawn("circle", { class: "value", cx: x(nth), cy: y(Math.max(-reach, Math.min(reach, value))), r: 2.2 }));
  });
  return picture;
}

// A stretch of the night as a path: above the middle, below it, two lines, dots, or a zigzag.
function stretch(place, hours, state) {
  const x = place * 10, w = hours * 10;
  if (state === "in") return `M${x} 1h${w}v9h-${w}z`;
  if (state === "out") return `M${x} 10h${w}v9h-${w}z`;
  if (state === "same") return `M${x} 8h${w}M${x} 12h${w}`;
  if (state === "open") return `M${x} 10h${w}`;
  return `M${x} 18${"l2.5 -16l2.5 16".repeat(hours * 2)}`;
}

function ribbon(row, hours) {
  const picture = drawn("svg", { viewBox: `0 0 ${hours * 10} 20`, class: "ribbon", preserveAspectRatio: "none", role: "img", "aria-label": `${row.name}: ${row.in_words}` });
  for (const [place, length, state, settled] of row.pieces) {
    const these = !settled && state !== "open" && state !== "fault" ? " these" : "";
    picture.append(drawn("path", { class: state + these, d: stretch(place, length, state) }));
  }
  return picture;
}

function head(told) {
  const scale = element("th", undefined, "scale");
  scale.append(element("span", "The night by the hour", "aside"));
  const picture = drawn("svg", { "aria-hidden": "true" });
  for (const [place, ...clocks] of told.marks) {
    clocks.forEach((words, nth) => {
      const mark = drawn("text", { x: `${(100 * place) / told.hours}%`, y: 12, class: nth ? "ut" : "lt" });
      mark.textContent = words;
      picture.append(mark);
    });
  }
  scale.append(picture);
  const band = element("th");
  band.append(element("span", "Band", "aside"));
  const cells = [band, scale, element("th", "What to do"), element("th", `S/N change on ${told.nights}, dB`)];
  if (told.looks_ahead) cells.push(element("th", "on nights to come, dB"));
  cells.forEach((cell) => { cell.scope = "col"; });
  const line = element("tr");
  line.append(...cells);
  return line;
}

function deedCells(deed, looksAhead) {
  const what = element("td", undefined, `deed ${deed.state}`);
  what.append(element("b", deed.words), " ");
  const where = element("span", undefined, "where");
  for (const [local, utc] of deed.where) {
    const span = element("span", undefined, "span");
    span.append(element("span", local, "lt"), element("span", utc, "ut"));
    where.append(span, " ");
  }
  if (deed.where.length) what.append(where);
  const cells = [what, element("td", deed.measured, "change")];
  if (looksAhead) {
    const ahead = element("td", undefined, "ahead");
    if (deed.to_come) {
      ahead.append(element("span", "to come ", "brief"), `${deed.to_come} `);
      ahead.append(element("span", deed.outlook, "where"), element("span", deed.briefly, "brief"));
    }
    cells.push(ahead);
  }
  return cells;
}

function paintAnswer(told) {
  write("tonight", told ? told.line : "The answer so far");
  const table = at("rows");
  table.hidden = !told;
  if (!told) return;
  table.tHead.replaceChildren(head(told));
  for (const body of [...table.tBodies]) body.remove();
  for (const row of told.rows) {
    const body = element("tbody");
    row.deeds.forEach((deed, nth) => {
      const line = element("tr");
      if (!nth) {
        const name = element("th", row.name);
        name.scope = "rowgroup";
        const night = element("td", undefined, "night");
        night.append(ribbon(row, told.hours));
        name.rowSpan = night.rowSpan = row.deeds.length;
        line.append(name, night);
      }
      line.append(...deedCells(deed, told.looks_ahead));
      body.append(line);
    });
    table.append(body);
  }
}

let tonightSeen = "";

function paintTonight(tonight) {
  const text = JSON.stringify(tonight);
  if (text === tonightSeen) return;
  tonightSeen = text;
  write("tonight-trouble", tonight.trouble || (tonight.bands.length ? "" : "Nothing reduced yet."));
  paintAnswer(tonight.answer);
  write("local-noise", tonight.local_noise);
  at("local-noise").parentElement.hidden = !tonight.local_noise;
  at("bands").replaceChildren(...tonight.bands.map((band) => {
    const line = element("li");
    line.append(element("span", band.band, "name"), element("span", band.words, `verdict ${band.state}`));
    line.append(element("span", band.change, "number"));
    line.append(element("span", band.seen, "soft number"));
    if (band.steps.length) line.append(funnel(band.steps, tonight.worthwhile_db));
    line.append(element("span", band.reason, "reason"));
    return line;
  }));
}

// What was unfolded stays so over a reload.
for (const fold of document.querySelectorAll("main > details")) {
  fold.open = sessionStorage.getItem(fold.id) === "open";
  fold.addEventListener("toggle", () => sessionStorage.setItem(fold.id, fold.open ? "open" : ""));
}

// A reload finds the page short until it is painted, too early for the browser to keep the place by itself.
history.scrollRestoration = "manual";
addEventListener("pagehide", () => sessionStorage.setItem("place", scrollY));

function keepPlace() {
  const place = Number(sessionStorage.getItem("place"));
  sessionStorage.removeItem("place");
  if (place && !location.hash) scrollTo(0, place);
}

const ask = (path, body) => order(path, body, "answer");

at("pause").addEventListener("click", () => ask("/pause", {}));
at("resume").addEventListener("click", () => ask("/resume", {}));

// A note half written survives a reload.
const note = at("note");
note.value = sessionStorage.getItem("note") || "";
note.addEventListener("input", () => sessionStorage.setItem("note", note.value));
at("note-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const text = note.value.trim();
  if (!text) return;
  if (await ask("/note", { text })) {
    at("notes").prepend(element("li", text));
    note.value = "";
    sessionStorage.removeItem("note");
  }
});

follow("/events", (told) => {
  paintNow(told.now);
  paintTonight(told.tonight);
  if (!document.documentElement.dataset.painted) keepPlace();
});
