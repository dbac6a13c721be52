// Pedal, single keys, digits, and scanners, all of which are keyboards. A scanner types a burst of letters, each within
// 50 ms of the one before, and ends with Enter; what a person types is slower.
const burst = 50;

export const cards = { "TS-GOOD": "good", "TS-NOT-GOOD": "not_good", "TS-AGAIN": "again", "TS-MENU": "menu" };

export class Keys {
  /// `on_key(name)` with "good", "not_good", "again", "menu", "working", "0".."9"; `on_scan(text)` with what a scanner read.
  constructor(on_key, on_scan, settings) {
    this.on_key = on_key;
    this.on_scan = on_scan;
    this.names = new Map([["Enter", "good"], ["F13", "good"], ["n", "not_good"], ["F14", "not_good"], ["a", "again"],
                          ["F15", "again"], ["m", "menu"], ["F16", "menu"], ["w", "working"]]);
    // ?keys=good,not_good,again[,menu], e.g. ?keys=1,2,3 for a pedal that types digits
    const order = ["good", "not_good", "again", "menu"];
    (settings ?? "").split(",").forEach((key, at) => { if (key && order[at]) this.names.set(key.length === 1 ? key.toLowerCase() : key, order[at]); });
    this.typed = "";
    this.last = 0;
    document.addEventListener("keydown", (event) => this.down(event));
  }

  label(name) {
    const own = [...this.names].filter(([, meaning]) => meaning === name).map(([key]) => key);
    return own.length ? own.find((key) => key.length === 1) ?? own[0] : "";
  }

  down(event) {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    const field = event.target.closest?.("input, textarea, select");
    const quick = event.timeStamp - this.last < burst;
    this.last = event.timeStamp;
    if (event.key === "Enter") {
      clearTimeout(this.single);
      const scanned = quick && this.typed.length >= 3 ? this.typed : "";
      this.typed = "";
      if (scanned) {
        const card = cards[scanned.toUpperCase()];
        event.preventDefault();
        event.stopPropagation();
        if (field && card) field.value = field.value.slice(0, Math.max(0, field.value.length - scanned.length));
        if (card) return this.on_key(card);
        return this.on_scan(scanned, field);
      }
      // A button that has the focus is pressed by Enter; that is its own good.
      if (field || event.target.closest?.("button, a, dialog")) return;
      event.preventDefault();
      return this.on_key("good");
    }
    if (event.key.length === 1) {
      this.typed = quick ? this.typed + event.key : event.key;
      if (field) return;
      clearTimeout(this.single);
      const key = event.key.toLowerCase();
      // A letter may be a scanner's first: it counts once no other has followed in time.
      this.single = setTimeout(() => { if (this.typed.length === 1) this.one(key); }, burst + 15);
      return;
    }
    if (!field && this.names.has(event.key)) {
      event.preventDefault();
      this.on_key(this.names.get(event.key));
    }
  }

  one(key) {
    // What was typed stays: a page that got the next letters late still reads the whole code by their own times.
    if (this.names.has(key)) return this.on_key(this.names.get(key));
    if (key >= "0" && key <= "9") this.on_key(key);
  }
}
