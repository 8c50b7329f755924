// Tones and vibrations for the dashboard's bells, for a rider who is not looking at the screen.

// Each tone: start [s], pitch [Hz], length [s]. Common practice, no source.
const SIGNALS = {
  change: { tones: [[0, 440, 0.3]], vibration: [200] },
  danger: { tones: [[0, 1760, 0.2], [0.3, 1760, 0.2]], vibration: [300, 150, 300, 150, 600] },
};
const LOUDNESS = 0.5, FADE_S = 0.02;

let audio = null;

// Browsers allow sound only after a tap or a key.
function allow() {
  if (audio === null && window.AudioContext) audio = new AudioContext();
  if (audio !== null && audio.state !== "running") audio.resume().catch(() => {});
}
for (const gesture of ["pointerup", "touchend", "keydown"]) {
  window.addEventListener(gesture, allow, { capture: true, passive: true });
}

// Give the signal for the bells in one message: one for a changed cue, more for danger.
export function signal(bells) {
  if (bells < 1) return;
  const { tones, vibration } = bells > 1 ? SIGNALS.danger : SIGNALS.change;
  if (navigator.userActivation?.hasBeenActive ?? true) navigator.vibrate?.(vibration);
  if (audio === null || audio.state !== "running") return;
  for (const [start, pitch, length] of tones) play(audio.currentTime + start, pitch, length);
}

function play(start, pitch, length) {
  const tone = new OscillatorNode(audio, { frequency: pitch, type: "triangle" });
  const volume = new GainNode(audio, { gain: 0 });
  volume.gain.setValueAtTime(0, start);
  volume.gain.linearRampToValueAtTime(LOUDNESS, start + FADE_S);
  volume.gain.setValueAtTime(LOUDNESS, start + length - FADE_S);
  volume.gain.linearRampToValueAtTime(0, start + length);
  tone.connect(volume).connect(audio.destination);
  tone.start(start);
  tone.stop(start + length);
}
