/**
 * Keeps the screen on while wire is laid, where the browser can; where it can't, the device's own setting
 * holds and nobody is told. The browser lets go whenever the page is out of sight, so it is asked again.
 */
export function keepAwake(): () => void {
  let lock: WakeLockSentinel | null = null;
  let over = false;

  const ask = (): void => {
    if (over || document.visibilityState !== 'visible' || !('wakeLock' in navigator)) return;
    navigator.wakeLock.request('screen').then(
      (got) => {
        lock = got;
        if (over) void got.release();
      },
      () => {
        // Low battery, or not allowed: the screen goes dark as it always does.
      },
    );
  };

  document.addEventListener('visibilitychange', ask);
  ask();
  return () => {
    over = true;
    document.removeEventListener('visibilitychange', ask);
    void lock?.release();
  };
}
