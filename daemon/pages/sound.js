// What a verdict sounds like. Each pattern differs in number, length and direction of its tones, not in pitch alone, so
// that it is told apart over a machine's noise and by ears that do not hear high tones.
const patterns = {  // [Hz, seconds, pause after]
  accept: [[880, .12, 0]],
  place: [[880, .06, 0]],
  part_end: [[660, .1, .03], [880, .1, .03], [1100, .22, 0]],
  reject: [[330, .26, .08], [262, .34, 0]],
  stands: [[262, .3, .07], [262, .3, .07], [208, .55, 0]],
  moved: [[700, .07, .05], [560, .07, 0]],
  hold: [[440, .15, .1], [440, .15, .1], [440, .15, 0]],
  early: [[440, .07, 0]],
  setting_good: [[660, .1, .03], [880, .16, 0]],
  setting_bad: [[330, .2, .08], [330, .2, 0]],
  lost: [[600, .16, 0], [450, .16, 0], [340, .4, 0]],
};

export class Sound {
  constructor(on_blocked) {
    this.on_blocked = on_blocked;
    this.context = null;
    this.last = sessionStorage.getItem("tone");
    const wake = () => this.wake();
    for (const event of ["keydown", "pointerdown"]) document.addEventListener(event, wake, { capture: true });
    this.wake();
  }

  wake() {
    this.context ??= new AudioContext();
    const tell = () => this.on_blocked(this.context.state !== "running");
    this.context.onstatechange = tell;
    if (this.context.state !== "running") this.context.resume().then(tell, tell);
    tell();
  }

  /// Plays a tone whose key is new. A page that was just opened is silent about what was before it.
  hear(sound, first) {
    if (!sound || sound.key === this.last) return;
    const known = this.last !== null;
    this.last = sound.key;
    sessionStorage.setItem("tone", sound.key);
    if (first && !known) return;
    this.play(sound.tone);
  }

  play(tone) {
    const pattern = patterns[tone];
    if (!pattern || !this.context || this.context.state !== "running") return;
    let at = this.context.currentTime + .01;
    for (const [hertz, seconds, pause] of pattern) {
      const voice = this.context.createOscillator(), loudness = this.context.createGain();
      voice.type = "triangle";
      voice.frequency.value = hertz;
      loudness.gain.setValueAtTime(0, at);
      loudness.gain.linearRampToValueAtTime(.5, at + .012);
      loudness.gain.setValueAtTime(.5, at + seconds - .02);
      loudness.gain.linearRampToValueAtTime(0, at + seconds);
      voice.connect(loudness).connect(this.context.destination);
      voice.start(at);
      voice.stop(at + seconds + .02);
      at += seconds + pause;
    }
  }
}
