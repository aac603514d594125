// The ruler beside a reading: where the value and one new run lie, and where the limit begins.

const RULER = { width: 320, height: 40, line: 22 };

/** The stretch that a ruler shows: all that the region gives, and the limits. */
function stretchOf(data, response) {
  const values = data.scattered.map((row) => valueAt(data, response, row)).filter(Number.isFinite);
  const limits = response.limits.map((limit) => limit.limit);
  const low = Math.min(...values, ...limits);
  const high = Math.max(...values, ...limits);
  const pad = 0.08 * (high - low) || Math.abs(high) * 0.1 || 1;
  return [low - pad, high + pad];
}

/** Round numbers along a stretch, four or five of them. */
function ticksOf([low, high]) {
  const rough = (high - low) / 4;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 2.5, 5, 10].map((n) => n * power).find((one) => one >= rough);
  const ticks = [];
  for (let at = Math.ceil(low / step) * step; at <= high; at += step) ticks.push(cleaned(at));
  return ticks;
}

/** Draw the ruler of a response; what stands on it is drawn anew with each reading. */
function makeRuler(data, response, id) {
  const stretch = stretchOf(data, response);
  const { width, height, line } = RULER;
  const place = (y) => {
    const part = (y - stretch[0]) / (stretch[1] - stretch[0]);
    return Math.min(width - 1, Math.max(1, width * part));
  };
  const hatch = draw(
    "pattern",
    {
      id,
      width: 6,
      height: 6,
      patternUnits: "userSpaceOnUse",
      patternTransform: "rotate(45)",
    },
    draw("line", { x1: 0, y1: 0, x2: 0, y2: 6, class: "hatch" }),
  );
  const beyond = response.limits.map((limit) => {
    const at = place(limit.limit);
    const [from, to] = limit.side > 0 ? [at, width] : [0, at];
    return draw(
      "g",
      null,
      draw("rect", { x: from, y: 4, width: to - from, height: line - 4, fill: `url(#${id})` }),
      draw("line", { x1: at, y1: 1, x2: at, y2: line + 3, class: "limit" }),
    );
  });
  const ticks = ticksOf(stretch).map((tick) =>
    draw(
      "g",
      null,
      draw("line", { x1: place(tick), y1: line, x2: place(tick), y2: line + 5, class: "rule" }),
      draw("text", { x: place(tick), y: height - 2, "text-anchor": "middle" }, plainText(tick)),
    ),
  );
  const reading = draw("g", { class: "reading" });
  const element = draw(
    "svg",
    {
      viewBox: `0 0 ${width} ${height}`,
      class: "ruler",
      "aria-hidden": "true",
      focusable: "false",
    },
    draw("defs", null, hatch),
    ...beyond,
    draw("line", { x1: 0, y1: line, x2: width, y2: line, class: "rule" }),
    ...ticks,
    reading,
  );
  return {
    element,
    show(told, isGood) {
      reading.setAttribute("class", isGood ? "reading" : "reading bad");
      reading.replaceChildren(...readingMarks(told, place));
    },
  };
}

/** One new run as a bracket, the true value as a bar, the value as a notch pointing down. */
function readingMarks(told, place) {
  const marks = [];
  const middle = 12;
  if (told.run.every(Number.isFinite) && told.run[0] !== told.run[1]) {
    const [a, b] = told.run.map(place);
    marks.push(
      draw("path", {
        d: `M${a} ${middle - 5}V${middle + 5}M${a} ${middle}H${b}M${b} ${middle - 5}V${middle + 5}`,
        class: "run",
      }),
    );
  }
  if (told.mean.every(Number.isFinite) && told.mean[0] !== told.mean[1]) {
    const [a, b] = told.mean.map(place);
    marks.push(
      draw("rect", { x: a, y: middle - 2.5, width: Math.max(b - a, 1), height: 5, class: "true" }),
    );
  }
  if (Number.isFinite(told.value)) {
    const x = place(told.value);
    marks.push(draw("path", { d: `M${x} 21L${x - 5} 9H${x + 5}Z`, class: "value" }));
  }
  return marks;
}
