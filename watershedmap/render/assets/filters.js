// Filters: which classes, trends and evidence are shown. What they leave out is faded on the map and not in the tables.

const NO_CLASS = "none";

/** The groups of choices: a key for the address, a title, the choices, and what a place of a kind has. */
function filterGroups(data) {
  const classes = data.index.classes.map((band, rank) => [String(rank), `${rank + 1} ${band.label}`]);
  return [
    { key: "c", title: "Class", choices: [...classes, [NO_CLASS, "No class"]], of: (table, i) => (table.rank[i] < 0 ? NO_CLASS : String(table.rank[i])), kinds: ["site", "reach", "area"] },
    { key: "t", title: "Trend", choices: [...data.trends.map((word, n) => [String(n), sentence(word)]), [NO_CLASS, "No trend known"]], of: (table, i) => (table.trend[i] < 0 ? NO_CLASS : String(table.trend[i])), kinds: ["site", "reach"] },
    { key: "e", title: "Evidence", choices: data.evidence.map((word, n) => [String(n), sentence(word)]), of: (table, i) => String(table.evidence[i]), kinds: ["reach", "area"] },
  ];
}

class Filters {
  constructor(host, data, onChange) {
    this.data = data;
    this.groups = filterGroups(data);
    this.chosen = Object.fromEntries(this.groups.map(({ key }) => [key, new Set()]));
    this.onChange = onChange;
    this.state = element("p", { class: "filter-state", role: "status" });
    this.clearing = element("button", { type: "button", class: "quiet", onclick: () => this.clear() }, "Clear all filters");
    this.head = element("summary", {}, "Filter");
    this.panel = element("details", { class: "filters", id: "filters" }, this.head,
      element("p", { class: "note" }, "Tick what is to be shown; a group without a tick shows all. What is left out is faded on the map. Counts in the legend stay those of the whole survey."),
      element("div", { class: "filter-groups" }, this.groups.map((group) => this.buildGroup(group))), this.clearing);
    host.append(this.panel, this.state);
    this.show();
  }

  buildGroup({ key, title, choices, kinds }) {
    const words = { site: "sites", reach: "reaches", area: "sub-watersheds" };
    const own = kinds.filter((kind) => tableOf(this.data, kind));
    return element("fieldset", {}, element("legend", {}, title, element("span", { class: "unseen" }, ` of ${own.map((kind) => words[kind]).join(", ")}`)),
      choices.map(([value, word]) => element("label", {},
        element("input", { type: "checkbox", "data-filter": `${key}${value}`, onchange: (event) => this.choose(key, value, event.target.checked) }), word)));
  }

  choose(key, value, on) {
    this.chosen[key][on ? "add" : "delete"](value);
    this.apply();
  }

  clear() {
    this.read("");
    this.head.focus();
  }

  apply() {
    this.show();
    this.onChange(this.masks());
  }

  get active() {
    return this.groups.some(({ key }) => this.chosen[key].size);
  }

  /** For each kind of place, which pass; null where all do. */
  masks() {
    const masks = {};
    for (const kind of ["site", "reach", "area"]) {
      const table = tableOf(this.data, kind);
      const groups = this.groups.filter(({ key, kinds }) => this.chosen[key].size && kinds.includes(kind));
      masks[kind] = table && groups.length ? Uint8Array.from({ length: table.n }, (_, i) => Number(groups.every(({ key, of }) => this.chosen[key].has(of(table, i))))) : null;
    }
    return masks;
  }

  /** The choices in words, also for paper. */
  show() {
    const words = this.groups.filter(({ key }) => this.chosen[key].size)
      .map(({ key, title, choices }) => `${title}${this.data.period && key === "t" ? " (all years)" : ""}: ${choices.filter(([value]) => this.chosen[key].has(value)).map(([, word]) => word).join(", ")}`);
    this.state.textContent = words.length ? `Filtered. ${words.join("; ")}.` : "";
    this.clearing.disabled = !words.length;
    this.panel.querySelectorAll("input").forEach((box) => { box.checked = this.chosen[box.dataset.filter[0]].has(box.dataset.filter.slice(1)); });
  }

  /** The choices as text for the address, such as "c0,c1,e2"; and from it. */
  write() {
    return this.groups.flatMap(({ key, choices }) => choices.filter(([value]) => this.chosen[key].has(value)).map(([value]) => key + value)).join(",");
  }

  read(text) {
    const wanted = new Set(text.split(","));
    for (const { key, choices } of this.groups) this.chosen[key] = new Set(choices.map(([value]) => value).filter((value) => wanted.has(key + value)));
    this.apply();
  }
}
