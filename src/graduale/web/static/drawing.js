// The plate: the server's picture with the stations over it. Marks, not numbers: + still on, a dot
// within, a stroke too thin, hatched ring below the floor; the one in hand ringed.
const NS = "http://www.w3.org/2000/svg";

export function draw(into, state, at, free) {
  if (into.dataset.picture !== state.picture) {
    into.dataset.picture = state.picture;
    const parsed = new DOMParser().parseFromString(state.picture, "image/svg+xml").documentElement;
    parsed.removeAttribute("width");
    parsed.removeAttribute("height");
    const over = document.createElementNS(NS, "g");
    over.setAttribute("id", "over");
    const svg = document.importNode(parsed, true);
    svg.append(over);
    into.replaceChildren(svg);
  }
  const over = into.querySelector("#over");
  const items = state.stations.flatMap((s, i) => mark(s, i === at));
  if (state.next) items.push(ring(state.next.u, state.next.v, 3.4, "#14120f", 0.5, "1.4 1"));
  if (free) items.push(...inHand(free.u, free.v));
  over.replaceChildren(...items);
}

function mark(station, hand) {
  const { u, v } = station;
  const items = hand ? inHand(u, v) : [];
  const back = node("circle", { cx: u, cy: v, r: 2.5, fill: "#ffffff", stroke: "#14120f", "stroke-width": 0.35 });
  back.dataset.station = station.name;
  back.dataset.mark = station.mark;
  items.push(back);
  if (station.mark === "on") items.push(stroke(u - 1.5, v, u + 1.5, v), stroke(u, v - 1.5, u, v + 1.5));
  if (station.mark === "within") items.push(node("circle", { cx: u, cy: v, r: 1.1, fill: "#14120f" }));
  if (station.mark === "thin") items.push(stroke(u - 1.5, v, u + 1.5, v));
  if (station.mark === "below") {
    items.push(node("circle", { cx: u, cy: v, r: 2.5, fill: "#14120f" }));
    const bar = stroke(u - 1.5, v, u + 1.5, v);
    bar.setAttribute("stroke", "#ffffff");
    items.push(bar);
  }
  return items;
}

function inHand(u, v) {
  return [ring(u, v, 4.6, "#14120f", 2.2), ring(u, v, 4.6, "#ffffff", 1.0)];
}

function ring(u, v, r, colour, width, dash = "") {
  return node("circle", { cx: u, cy: v, r, fill: "none", stroke: colour, "stroke-width": width, "stroke-dasharray": dash });
}

function stroke(x1, y1, x2, y2) {
  return node("line", { x1, y1, x2, y2, stroke: "#14120f", "stroke-width": 0.8 });
}

function node(name, values) {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(values)) if (value !== "") made.setAttribute(key, value);
  return made;
}
