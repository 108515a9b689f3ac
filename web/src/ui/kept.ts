/**
 * What this device keeps of a person's choices (light, units, line) and of work that is under way. It
 * never keeps a report or a pass, and a browser that refuses storage only forgets.
 */
export function kept<T extends string>(key: string, allowed: readonly T[], otherwise: T): T {
  const found = keptText(key);
  return allowed.find((value) => value === found) ?? otherwise;
}

export function keptText(key: string): string | null {
  try {
    return localStorage.getItem(`laywire.${key}`);
  } catch {
    return null;
  }
}

export function keep(key: string, value: string): void {
  try {
    localStorage.setItem(`laywire.${key}`, value);
  } catch {
    // A private window may refuse: the choice then lasts as long as the page.
  }
}

export function forget(key: string): void {
  try {
    localStorage.removeItem(`laywire.${key}`);
  } catch {
    // Then there is nothing to forget.
  }
}
