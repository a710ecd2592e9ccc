// The yearly scores of a site as a drawing. Better is always up, whichever way the index counts.

const CHART = { width: 360, height: 214, left: 42, right: 24, top: 22, bottom: 26 };

function yearChart(data, site) {
  const { sites, index } = data;
  const years = sites.years[site];
  const scores = sites.scores[site];
  if (!years.length) return element("p", { class: "note" }, "No yearly score: not one sample could be scored.");
  const scale = chartScale(data, site);
  const title = `Yearly ${index.label} at ${sites.id[site]}, ${years[0]} to ${years[years.length - 1]}; better is up.`;
  return element("figure", { class: "chart" },
    drawn("svg", { viewBox: `0 0 ${CHART.width} ${CHART.height}`, role: "img", "aria-label": title },
      chartBands(data, scale),
      chartAxes(data, scale),
      trendLine(data, site, scale),
      seriesLines(years, scores, scale),
      years.map((year, i) => seriesPoint(data, site, i, scale))),
    yearTable(data, site));
}

function chartScale(data, site) {
  const { sites, index } = data;
  const years = sites.years[site];
  const scores = sites.scores[site];
  const values = [...scores, ...sites.fit[site]];
  const spread = Math.max(...values) - Math.min(...values);
  const pad = Math.max(0.15 * spread, 0.06 * Math.max(...values.map(Math.abs)), 10 ** -index.decimals);
  const low = Math.min(...values) - pad;
  const high = Math.max(...values) + pad;
  const first = Math.min(data.span[0] ?? years[0], years[0]);
  const last = Math.max(data.span[1] ?? first, first + 1);
  const [floor, ceiling] = index.better === "low" ? [high, low] : [low, high];
  const { width, height, left, right, top, bottom } = CHART;
  return {
    low,
    high,
    first,
    last,
    x: (year) => left + 12 + ((width - left - right - 24) * (year - first)) / (last - first),
    y: (value) => height - bottom - ((height - top - bottom) * (value - floor)) / (ceiling - floor),
  };
}

/** Faint stripes for the classes, with their numbers at the right edge and a line at each limit. */
function chartBands(data, scale) {
  const { classes, better } = data.index;
  const clamp = (value) => Math.min(scale.high, Math.max(scale.low, value));
  const beyond = better === "low" ? Infinity : -Infinity;
  const stripes = classes.map((band, rank) => {
    const ends = [rank ? classes[rank - 1].limit : -beyond, band.limit ?? beyond].map(clamp).map(scale.y);
    return chartBand(band, rank, Math.min(...ends), Math.abs(ends[0] - ends[1]));
  });
  return [stripes, chartTicks(data, scale)];
}

function chartBand(band, rank, top, height) {
  if (height < 0.5) return null;
  const { left, right, width } = CHART;
  const stripe = drawn("rect", { x: left, y: top, width: width - left - right, height, fill: tintOf(band) });
  if (height < 16) return stripe;
  const middle = top + height / 2;
  return [
    stripe,
    drawn("rect", { x: width - right + 4, y: middle - 8, width: 18, height: 16, rx: 4, fill: band.colour }, drawn("title", {}, band.label)),
    drawn("text", { x: width - right + 13, y: middle + 4, "text-anchor": "middle", "font-weight": 700, style: `fill:${band.text}` }, String(rank + 1)),
  ];
}

/** Figures at the class limits, and at the ends of the axis where there is room. */
function chartTicks(data, scale) {
  const { classes, decimals } = data.index;
  const limits = classes.map((band) => band.limit).filter((limit) => limit !== null && limit > scale.low && limit < scale.high);
  const placed = [];
  return [...limits, scale.low, scale.high].flatMap((value) => {
    const y = scale.y(value);
    if (placed.some((other) => Math.abs(other - y) < 13)) return [];
    placed.push(y);
    return [
      limits.includes(value) ? drawn("line", { x1: CHART.left, x2: CHART.width - CHART.right, y1: y, y2: y, class: "limit" }) : null,
      drawn("text", { x: CHART.left - 5, y: y + 3.5, "text-anchor": "end", class: "tick" }, figure(value, decimals)),
    ];
  });
}

function chartAxes(data, scale) {
  const base = CHART.height - CHART.bottom;
  const every = Math.max(1, Math.ceil((scale.last - scale.first + 1) / 8));
  const ticks = range(scale.last - scale.first + 1).map((i) => scale.first + i).filter((year) => (year - scale.first) % every === 0);
  return [
    drawn("line", { x1: CHART.left, x2: CHART.width - CHART.right, y1: base, y2: base, class: "axis" }),
    drawn("line", { x1: CHART.left, x2: CHART.left, y1: CHART.top, y2: base, class: "axis" }),
    drawn("text", { x: 2, y: 12, class: "axis-name" }, `${data.index.label}${data.index.unit ? `, ${data.index.unit}` : ""} (up is better)`),
    ticks.map((year) => [
      drawn("line", { x1: scale.x(year), x2: scale.x(year), y1: base, y2: base + 4, class: "axis" }),
      drawn("text", { x: scale.x(year), y: base + 16, "text-anchor": "middle", class: "tick" }, String(year)),
    ]),
  ];
}

/** The line of the trend, only where there is one to speak of. */
function trendLine(data, site, scale) {
  const { sites } = data;
  const [start, end] = sites.fit[site];
  const clear = sites.trend[site] === TREND.improving || sites.trend[site] === TREND.worsening;
  if (!clear || start === undefined) return null;
  const years = sites.years[site];
  return drawn("line", {
    x1: scale.x(years[0]), x2: scale.x(years[years.length - 1]), y1: scale.y(start), y2: scale.y(end), class: "trend-line",
  });
}

/** Lines between years that follow each other; a missing year leaves a gap. */
function seriesLines(years, scores, scale) {
  return years.slice(1).map((year, i) =>
    year - years[i] !== 1 ? null : drawn("line", { x1: scale.x(years[i]), y1: scale.y(scores[i]), x2: scale.x(year), y2: scale.y(scores[i + 1]), class: "series" }));
}

function seriesPoint(data, site, i, scale) {
  const { sites, index } = data;
  const words = `${sites.years[site][i]}: ${figure(sites.scores[site][i], index.decimals)} (${counted(sites.yearSamples[site][i], "sample")})`;
  return drawn("circle", { cx: scale.x(sites.years[site][i]), cy: scale.y(sites.scores[site][i]), r: 3.6, class: "series-point" }, drawn("title", {}, words));
}

/** The same figures for those who do not see the drawing. */
function yearTable(data, site) {
  const { sites, index } = data;
  return element("details", { class: "year-table" },
    element("summary", {}, "Yearly scores as a table"),
    element("table", { class: "plain" },
      element("thead", {}, element("tr", {}, ["Year", "Score", "Samples"].map((head) => element("th", { scope: "col" }, head)))),
      element("tbody", {}, sites.years[site].map((year, i) => element("tr", {},
        element("th", { scope: "row" }, String(year)),
        element("td", { class: "number" }, figure(sites.scores[site][i], index.decimals)),
        element("td", { class: "number" }, figure(sites.yearSamples[site][i])))))));
}
