// The line to the daemon: snapshot, changes, signs of life; reconnects for ever. And commands, each with what the person
// saw and a key of its own, so that a command that was sent twice is done once.
const patience = 12000;  // the daemon gives a sign of life every 5 s

export function display_id() {
  let id = sessionStorage.getItem("display");
  if (!id) {
    id = crypto.randomUUID().slice(0, 13);
    sessionStorage.setItem("display", id);
  }
  return id;
}

export class Link {
  /// `on_view(view, first)` after each message, `on_state(connected)` when the line goes or comes back.
  constructor(bench, on_view, on_state) {
    this.bench = bench;
    this.on_view = on_view;
    this.on_state = on_state;
    this.view = null;
    this.connected = false;
    this.heard = 0;      // performance.now() of the last message
    this.heard_wall = 0; // Date.now() of it: a machine that sleeps may stop the other clock
    this.offset = 0;     // daemon's clock less this page's
    this.wait = 250;
    this.unknown = false;
    this.open();
    setInterval(() => this.watch(), 1000);
    for (const event of ["visibilitychange", "online", "resume"]) window.addEventListener(event, () => this.watch(), true);
  }

  open() {
    const address = `ws://${location.host}/api/v1/benches/${encodeURIComponent(this.bench)}/live?display=${display_id()}`;
    let socket;
    try {
      socket = new WebSocket(address);
    } catch {  // a browser that forbids it now may not later
      return this.lost();
    }
    this.socket = socket;
    this.opened = performance.now();
    this.opened_wall = Date.now();
    socket.onmessage = (event) => { if (socket === this.socket) this.take(JSON.parse(event.data)); };
    socket.onclose = () => { if (socket === this.socket) this.lost(); };
  }

  take(message) {
    this.heard = performance.now();
    this.heard_wall = Date.now();
    this.wait = 250;
    if (message.type === "alive") {
      this.offset = new Date(message.utc) - Date.now();
      this.on_state(true);
      return;
    }
    const first = message.type === "snapshot";
    // A change without its snapshot cannot be understood: begin again.
    if (!first && !this.view) return this.socket.close();
    this.view = first ? message.view : { ...this.view, ...message.view };
    this.set_connected(true);
    this.on_view(this.view, first);
  }

  set_connected(now) {
    if (now === this.connected) return;
    this.connected = now;
    this.on_state(now);
  }

  lost() {
    this.socket = null;
    this.set_connected(false);
    this.on_state(false);
    if (!this.view) {  // a daemon that is there and refuses: perhaps the bench is unknown to it
      fetch(`/api/v1/benches/${encodeURIComponent(this.bench)}`)
        .then((answer) => { this.unknown = answer.status === 404; this.on_state(false); }, () => {});
    }
    setTimeout(() => this.open(), this.wait * (0.75 + Math.random() / 2));
    this.wait = Math.min(this.wait * 2, 4000);
  }

  watch() {
    // A page that was looked at and not woken for so long slept, whatever has come since.
    const slept = !document.hidden && this.watched && Date.now() - this.watched > patience;
    this.watched = document.hidden ? 0 : Date.now();
    if (!this.socket) return this.on_state(false);
    const since = Math.max(this.heard, this.opened), since_wall = Math.max(this.heard_wall, this.opened_wall);
    if (performance.now() - since > patience || Date.now() - since_wall > patience || slept) {
      const socket = this.socket;
      socket.onclose = null;
      socket.close();
      this.lost();
    }
  }

  now() { return Date.now() + this.offset; }
  age() { return this.heard ? Math.max(performance.now() - this.heard, Date.now() - this.heard_wall) : 0; }

  /// -> {ok, kind, status, answer}. Where the answer was lost, it is asked for again with the same key. `saw`: the view that
  /// the person answers, where it may not be the present one any more; true: the present one; false: none.
  async send(kind, body = {}, saw = true) {
    const view = (saw === true ? this.view : saw) || {};
    const command = {
      ...body, kind, display: display_id(), idempotency_key: crypto.randomUUID(),
      saw: saw ? { walk: view.walk?.key ?? "", part: view.walk?.part ?? "", ask: view.ask ?? "" } : null,
    };
    for (let attempt = 0; ; ++attempt) {
      try {
        const response = await fetch(`/api/v1/benches/${encodeURIComponent(this.bench)}/commands`, {
          method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(command),
          signal: AbortSignal.timeout(10000),
        });
        if ((response.status === 503 || response.status === 504) && attempt < 4) throw new Error("busy");
        return { ok: response.ok, kind, status: response.status, answer: await response.json() };
      } catch (fault) {
        if (attempt >= 4) return { ok: false, kind, status: 0, answer: {} };
        await new Promise((done) => setTimeout(done, 300 * (attempt + 1)));
      }
    }
  }
}
