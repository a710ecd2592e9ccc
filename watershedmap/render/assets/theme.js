// Light or dark: as the reader's system has it, until the switch says otherwise. Paper is always light.

const DARK_WANTED = window.matchMedia("(prefers-color-scheme: dark)");

function isDark() {
  return document.documentElement.dataset.theme === "dark";
}

class Theme {
  constructor(button, onChange) {
    this.button = button;
    this.onChange = onChange;
    this.chosen = null;
    button.addEventListener("click", () => {
      this.chosen = isDark() ? "light" : "dark";
      this.apply();
    });
    DARK_WANTED.addEventListener("change", () => this.apply());
    this.show(DARK_WANTED.matches ? "dark" : "light");
  }

  show(name) {
    const before = document.documentElement.dataset.theme;
    document.documentElement.dataset.theme = name;
    this.button.textContent = name === "dark" ? "Light page" : "Dark page";
    return before !== undefined && before !== name;
  }

  apply() {
    if (this.show(this.chosen ?? (DARK_WANTED.matches ? "dark" : "light"))) this.onChange();
  }

  /** Light for as long as the page is printed; says whether that changed anything. */
  print(on) {
    return this.show(on ? "light" : this.chosen ?? (DARK_WANTED.matches ? "dark" : "light"));
  }
}
