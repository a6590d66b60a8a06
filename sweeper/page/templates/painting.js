// What the scripts of all pages share; the server puts it in front of each. Everything from outside goes in as text,
// never as markup.
"use strict";

const at = (id) => document.getElementById(id);
const word = document.querySelector('meta[name="sweeper-word"]').content;
const SVG = "http://www.w3.org/2000/svg";

function write(id, text) {
  const place = at(id);
  if (place.dataset.text === text) return;
  place.dataset.text = text;
  const parts = text.split("`"); // what stands between backticks is code
  place.replaceChildren(...(parts.length % 2 ? parts.map((part, nth) => (nth % 2 ? element("code", part) : part)) : [text]));
}

function element(name, text, className) {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  if (className) made.className = className;
  return made;
}

function drawn(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  if (text !== undefined) made.textContent = text;
  return made;
}

// Paints whatever the server tells, and says so where it is silent.
function follow(url, paint) {
  const events = new EventSource(url);
  events.addEventListener("all", (event) => {
    at("lost").hidden = true;
    paint(JSON.parse(event.data));
    document.documentElement.dataset.painted = "yes";
  });
  events.addEventListener("error", () => {
    at("lost").hidden = false;
    // A browser gives up on a server that refuses; look again by ourselves.
    if (events.readyState === EventSource.CLOSED) setTimeout(() => follow(url, paint), 2000);
  });
}

// Orders go to the server with the page's word; what it says stands at `place`. Whether it was done.
async function order(path, body, place) {
  write(place, "…");
  try {
    const answer = await fetch(path, {
      method: "POST",
      headers: { "content-type": "application/json", "x-sweeper-word": word },
      body: JSON.stringify(body),
    });
    if (answer.headers.get("content-type").startsWith("application/json")) {
      const told = await answer.json();
      write(place, told.sentence);
      return told.ok;
    }
    write(place, await answer.text());
  } catch (fault) {
    write(place, "The page's server does not answer.");
  }
  return false;
}
