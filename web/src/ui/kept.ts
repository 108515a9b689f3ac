/**
 * What this device keeps of a person's choices (light, units). It never keeps a report or a pass,
 * and a browser that refuses storage only forgets the choice.
 */
export function kept<T extends string>(key: string, allowed: readonly T[], otherwise: T): T {
  try {
    const found = localStorage.getItem(`laywire.${key}`);
    return allowed.find((value) => value === found) ?? otherwise;
  } catch {
    return otherwise;
  }
}

export function keep(key: string, value: string): void {
  try {
    localStorage.setItem(`laywire.${key}`, value);
  } catch {
    // A private window may refuse: the choice then lasts as long as the page.
  }
}
