// Talk to the kernel: one message on its way at a time, the newest number wins, and
// nothing else is lost.

// Silence after which the panel says that it is still waiting. [ms]
const SILENCE_MS = 4000;

export class Link {
  // `onSilence` is told true when the kernel has not answered for a while, and false
  // when it has.
  constructor(model, onSilence) {
    Object.assign(this, { model, onSilence, queue: [], sent: null, seq: 0, gesture: 0 });
  }

  // A page shows the panel, or no longer does.
  shown(yes) {
    this.send({ shown: yes });
  }

  // A line to a kernel that is gone throws; the silence that follows tells the maker.
  send(content) {
    try {
      this.model.send(content);
    } catch (problem) {
      console.warn("fitkit: the kernel could not be told.", problem);
    }
  }

  // Type into a text box; what still waits for the same box is replaced.
  type(box, text) {
    const last = this.queue.at(-1);
    if (last?.command === "type_in" && last.box === box && last.gesture === this.gesture) {
      last.text = text;
    } else {
      this.queue.push({ command: "type_in", box, text, gesture: this.gesture });
    }
    this.flush();
  }

  // Change number boxes; edits of one gesture that still wait are merged.
  edit(numbers) {
    const last = this.queue.at(-1);
    if (last && last.numbers && last.gesture === this.gesture) {
      Object.assign(last.numbers, numbers);
    } else {
      this.queue.push({ numbers: { ...numbers }, gesture: this.gesture });
    }
    this.flush();
  }

  // The gesture is over: the next edit is undone on its own.
  settle() {
    this.gesture += 1;
  }

  // Ask for anything else, by name.
  ask(command, details = {}) {
    this.queue.push({ command, ...details });
    this.flush();
  }

  // Numbers that the kernel has not answered yet, the newest of each box.
  unanswered() {
    const all = {};
    for (const one of [this.sent, ...this.queue]) Object.assign(all, one?.numbers);
    return all;
  }

  // Called with every state: the kernel's word on how far it has come.
  answered(seq) {
    if (!this.sent || seq < this.sent.seq) return;
    this.sent = null;
    clearTimeout(this.timer);
    this.onSilence(false);
    this.flush();
  }

  flush() {
    if (this.sent || this.queue.length === 0) return;
    this.sent = { ...this.queue.shift(), seq: ++this.seq };
    this.timer = setTimeout(() => this.onSilence(true), SILENCE_MS);
    this.send(this.sent);
  }

  // Text that the kernel has not answered yet, the newest of each box.
  untold() {
    const all = {};
    for (const one of [this.sent, ...this.queue]) {
      if (one?.command === "type_in") all[one.box] = one.text;
    }
    return all;
  }

  end() {
    clearTimeout(this.timer);
    this.shown(false);
  }
}
