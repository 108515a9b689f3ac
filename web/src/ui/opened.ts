import { tick } from 'svelte';

/**
 * Put on a form that takes the place of the button that was pressed for it: the focus goes into the form, and when that is
 * gone back to the buttons, or to the heading above them where they are others now, rather than nowhere. A dialog does so by
 * itself.
 */
export function opened(form: HTMLElement): () => void {
  const place = form.parentElement;
  const section = form.closest('section');
  form.tabIndex = -1;
  form.focus({ preventScroll: true });
  return () =>
    void tick().then(() => {
      if (document.activeElement !== document.body) return;
      const button = place?.isConnected ? place.querySelector('button') : null;
      (button ?? section?.querySelector<HTMLElement>('h2[tabindex]'))?.focus();
    });
}
