// A reference tone for earphones: it begins softly, never gets loud, and ends by itself.

// A share of full scale, and seconds.
const [LEVEL, SOFT, MOST] = [0.06, 0.4, 30];
let sounding = null;

export const sounds = () => sounding !== null;

export function silence() {
  if (!sounding) return;
  const { context, gain, oscillator, told } = sounding;
  sounding = null;
  gain.gain.cancelScheduledValues(context.currentTime);
  gain.gain.setTargetAtTime(0, context.currentTime, 0.05);
  oscillator.stop(context.currentTime + 0.4);
  oscillator.onended = () => context.close();
  told();
}

// Sounds `hz` until `silence`, or for half a minute; `told` is called when it ends.
export function sound(hz, told) {
  silence();
  const context = new AudioContext();
  const [oscillator, gain] = [context.createOscillator(), context.createGain()];
  oscillator.frequency.value = hz;
  gain.gain.setValueAtTime(0, context.currentTime);
  gain.gain.linearRampToValueAtTime(LEVEL, context.currentTime + SOFT);
  oscillator.connect(gain).connect(context.destination);
  oscillator.start();
  sounding = { context, gain, oscillator, told };
  const own = sounding;
  setTimeout(() => { if (sounding === own) silence(); }, MOST * 1000);
}
