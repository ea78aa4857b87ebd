// How parts of the form are drawn; form.js follows in the same module. Text is set as text, never as markup.

const SHOWN = 24; // of the newest readings of a list

function make(tag, name, text, ...children) {
  const node = document.createElement(tag);
  if (name) node.className = `wqv-${name}`;
  if (text) node.textContent = text;
  node.append(...children);
  return node;
}

function drawn(tag, attributes, text) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (text) node.textContent = text;
  return node;
}

function show(node, ...children) {
  node.replaceChildren(...children.filter(Boolean));
  node.hidden = !node.childNodes.length;
}

// Readings as they come, with the value they should have and the limits around it, each named where it is drawn.
function trace({ values: all, unit, reference, low, high }) {
  const values = all.slice(-SHOWN);
  const [width, height, left, right, top, bottom] = [520, 250, 10, 168, 36, 26];
  const marks = [["high", high], ["reference", reference], ["low", low]].filter(([, text]) => text !== "");
  const numbers = [...values, ...marks.map(([, text]) => text)].map(Number).filter(Number.isFinite);
  const [least, most] = [Math.min(...numbers), Math.max(...numbers)];
  const room = (most - least || Math.abs(most) * 0.01 || 1) * 0.12;
  const y = (text) => top + ((most + room - Number(text)) / (most - least + 2 * room)) * (height - top - bottom);
  const wordRoom = 96; // of the newest, to the right of its point
  const x = (index) => left + 14 + (index * (width - left - right - 14 - wordRoom)) / Math.max(values.length - 1, 4);
  const svg = drawn("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", class: "wqv-svg" });
  svg.append(drawn("title", {}, `Readings: ${values.join(", ")} ${unit}`));
  let above = -Infinity;
  for (const [name, text] of marks) {
    const at = y(text);
    svg.append(drawn("line", { x1: left, x2: width - right, y1: at, y2: at, class: `wqv-mark wqv-mark-${name}` }));
    const words = Math.max(at, above + 24); // names of lines that lie close do not cover each other
    above = words;
    const named = { high: "upper limit", low: "lower limit", reference: "reference" }[name];
    svg.append(drawn("text", { x: width - right + 8, y: words + 6, class: "wqv-named" }, `${named} ${text}`));
  }
  const points = values.map((text, index) => [x(index), y(text)]).filter(([, at]) => Number.isFinite(at));
  svg.append(drawn("polyline", { points: points.map((one) => one.join(",")).join(" "), class: "wqv-path" }));
  const every = Math.ceil(values.length / 6); // room for some six values in words, counted from the newest
  values.forEach((text, index) => {
    if (!Number.isFinite(y(text))) return;
    const newest = index === values.length - 1;
    svg.append(drawn("circle", { cx: x(index), cy: y(text), r: newest ? 8 : 6, class: "wqv-dot" }));
    if ((values.length - 1 - index) % every) return;
    const at = newest ? { x: x(index) + 16, y: y(text) + 8 } : { x: x(index), y: y(text) - 14 };
    const word = { ...at, class: `wqv-value${newest ? " wqv-newest" : ""}` };
    svg.append(drawn("text", word, newest && unit ? `${text} ${unit}` : text));
  });
  svg.append(drawn("text", { x: left, y: height - 2, class: "wqv-named" }, `reading ${all.length - values.length + 1} to ${all.length}`));
  return svg;
}

// The newest of what stands here, all of it where it is not long.
function newest(texts) {
  return `${texts.length > SHOWN ? `(${texts.length}) … ` : ""}${texts.slice(-SHOWN).join(", ")}`;
}

function numbers(count) {
  return count > 1 ? `1 to ${count}` : "1";
}

// Where Jupyter serves a file of the plant folder, in Lab's own viewer and as it is.
function fileUrl(path) {
  const config = document.getElementById("jupyter-config-data");
  const base = config ? (JSON.parse(config.textContent).baseUrl ?? "/") : "/";
  const quoted = path.split("/").map(encodeURIComponent).join("/");
  return { viewer: `${base}doc/tree/${quoted}`, file: `${base}files/${quoted}` };
}

// The path is said as well, for a Lab that was started elsewhere.
function link(path, { viewer }) {
  const open = make("a", "open", "Open the page");
  open.href = viewer;
  open.target = "_blank";
  open.rel = "noopener";
  return make("p", "", "", open, " ", make("span", "where", path));
}

function picture({ file }) {
  const sheet = make("object", "picture");
  sheet.hidden = true;
  sheet.tabIndex = -1;
  if (navigator.pdfViewerEnabled) fill(sheet, file);
  return sheet;
}

// Through a blob: Jupyter serves files in a sandbox in which the browser's own viewer does not run.
async function fill(sheet, url) {
  const answer = await fetch(url).catch(() => null);
  if (!answer?.ok || !answer.headers.get("content-type")?.startsWith("application/pdf")) return;
  sheet.type = "application/pdf";
  sheet.data = `${URL.createObjectURL(await answer.blob())}#toolbar=0&navpanes=0&view=FitH`;
  sheet.hidden = false;
}
