import { useEffect } from 'preact/hooks';

/** Keeps the screen on while the component is shown, where the browser can: it needs a secure connection. */
export function useAwake(): void {
  useEffect(() => {
    if (!('wakeLock' in navigator)) return;
    let lock: WakeLockSentinel | null = null;
    let isOver = false;
    // A page in the background loses it, and asks again when it is back.
    const hold = async (): Promise<void> => {
      if (document.visibilityState !== 'visible' || isOver) return;
      try {
        lock = await navigator.wakeLock.request('screen');
        if (isOver) await lock.release();
      } catch {
        // A battery that is low refuses; the page goes on.
      }
    };
    void hold();
    const onVisible = (): void => void hold();
    document.addEventListener('visibilitychange', onVisible);
    return () => {
      isOver = true;
      document.removeEventListener('visibilitychange', onVisible);
      void lock?.release();
    };
  }, []);
}
