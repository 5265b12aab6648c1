import type { ToneCue } from './cue.ts';

/**
 * Makes cues heard. Browsers stay silent until a person has touched the page, so `unlock` is called from a tap; before
 * that nothing is played and nothing is kept for later.
 */
export class CuePlayer {
  #context: AudioContext | null = null;
  #quiet: HTMLAudioElement | null = null;

  get unlocked(): boolean {
    return this.#context?.state === 'running';
  }

  async unlock(): Promise<void> {
    this.#context ??= new AudioContext();
    if (this.#context.state === 'suspended') await this.#context.resume();
  }

  /** Brings media buttons to this page: a system gives them to whoever plays something. */
  async holdMediaKeys(): Promise<void> {
    this.#quiet ??= Object.assign(new Audio('/quiet.wav'), { loop: true });
    await this.#quiet.play();
  }

  /** @param volume from 0 to 1. */
  tone({ pitchHz, lengthS }: ToneCue, volume: number): void {
    const context = this.#context;
    if (context?.state !== 'running') return;
    const startS = context.currentTime + 0.01;
    const endS = startS + lengthS;
    const gain = context.createGain();
    // Rises and falls softly: a tone that is cut sounds like a click.
    gain.gain.setValueAtTime(0, startS);
    gain.gain.linearRampToValueAtTime(volume, startS + 0.015);
    gain.gain.setValueAtTime(volume, Math.max(startS + 0.015, endS - 0.05));
    gain.gain.linearRampToValueAtTime(0, endS);
    const oscillator = context.createOscillator();
    oscillator.type = 'triangle';
    oscillator.frequency.value = pitchHz;
    oscillator.connect(gain).connect(context.destination);
    oscillator.start(startS);
    oscillator.stop(endS);
  }

  /** Speaks a word with a voice of this device; where it has none, nothing is sent to any other. */
  word(text: string, volume: number): void {
    if (!this.unlocked || !('speechSynthesis' in window)) return;
    const language = document.documentElement.lang;
    const voices = window.speechSynthesis.getVoices().filter((voice) => voice.localService);
    const voice = voices.find(({ lang }) => lang.startsWith(language)) ?? null;
    if (voice === null) return;
    const utterance = new SpeechSynthesisUtterance(text);
    utterance.voice = voice;
    utterance.volume = volume;
    // The newest shot is the one that counts.
    window.speechSynthesis.cancel();
    window.speechSynthesis.speak(utterance);
  }

  tremble(pattern: readonly number[]): void {
    if (pattern.length > 0 && 'vibrate' in navigator) navigator.vibrate([...pattern]);
  }
}
