// A background map of pictures from one other host. Off until the reader switches it on: only then is anything asked for.

class Background {
  constructor(map, { tiles, attribution, host }) {
    this.map = map;
    this.host = host;
    this.attribution = attribution;
    this.shown = false;
    this.layer = L.tileLayer(tiles, { maxZoom: map.getMaxZoom(), noWrap: true, keepBuffer: 1 }); // in the lowest pane of all
    this.state = element("p", { class: "note caution", role: "status", hidden: true });
    this.layer.on("tileerror", () => this.tell(`Nothing came from ${host}: is there a network?`));
    this.layer.on("tileload", () => this.tell(""));
    this.credit = L.control({ position: "bottomright" });
    this.credit.onAdd = () => element("p", { class: "background-credit" }, `Background: ${attribution}`);
  }

  tell(text) {
    this.state.textContent = text;
    this.state.hidden = !text;
  }

  show(on) {
    this.shown = on;
    this.tell("");
    for (const part of [this.layer, this.credit]) {
      if (on) part.addTo(this.map);
      else part.remove();
    }
    this.map.getContainer().classList.toggle("with-background", on);
  }

  /** Its part of the legend. */
  section() {
    const toggle = element("input", {
      type: "checkbox",
      id: "background-switch",
      checked: this.shown,
      onchange: (event) => {
        this.show(event.target.checked);
        event.target.closest("section").classList.toggle("off", !event.target.checked);
      },
    });
    return element("section", { class: `legend-section background${this.shown ? "" : " off"}` },
      element("h3", {}, element("label", {}, toggle, `Background map from ${this.host} (needs a network)`)),
      element("p", { class: "note" }, `When it is on, this page asks ${this.host} for pictures of the part of the map that you look at, so that host learns which part it is, and the address of your network. Nothing of the survey is sent.`),
      this.state);
  }
}
