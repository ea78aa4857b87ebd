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
  const x = (index) => left + 14 + (index * (width - left - right - 28)) / Math.max(values.length - 1, 4);
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
    const word = { x: x(index), y: y(text) - 14, class: `wqv-value${newest ? " wqv-newest" : ""}` };
    svg.append(drawn("text", word, newest && unit ? `${text} ${unit}` : text));
  });
  svg.append(drawn("text", { x: left, y: height - 2, class: "wqv-named" }, `reading ${all.length - values.length + 1} to ${all.length}`));
  return svg;
}

// The newest of what stands here, all of it where it is not long.
function newest(texts) {
  return `${texts.length > SHOWN ? `(${texts.length}) … ` : ""}${texts.slice(-SHOWN).join(", ")}`;
}

// The page opens in Lab's own viewer; the path is said as well, for a Lab that was started elsewhere.
function page(path) {
  const config = document.getElementById("jupyter-config-data");
  const base = config ? (JSON.parse(config.textContent).baseUrl ?? "/") : "/";
  const quoted = path.split("/").map(encodeURIComponent).join("/");
  const link = make("a", "open", "Open the page");
  link.href = `${base}doc/tree/${quoted}`;
  link.target = "_blank";
  link.rel = "noopener";
  const sheet = make("object", "sheet");
  sheet.hidden = true;
  if (navigator.pdfViewerEnabled) picture(sheet, `${base}files/${quoted}`);
  return [make("p", "", "", link, " ", make("span", "where", path)), sheet];
}

// Shown through a blob: Jupyter serves files in a sandbox in which the browser's viewer does not run.
async function picture(sheet, url) {
  const answer = await fetch(url).catch(() => null);
  if (!answer?.ok || !answer.headers.get("content-type")?.startsWith("application/pdf")) return;
  sheet.type = "application/pdf";
  sheet.tabIndex = -1;
  sheet.data = `${URL.createObjectURL(await answer.blob())}#toolbar=0&navpanes=0&view=FitH`;
  sheet.hidden = false;
}
