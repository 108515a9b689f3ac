/** What does not come within its time counts as not to be had: a weak signal can keep a question hanging for minutes. */
export async function within<T>(work: Promise<T>, patience_ms: number): Promise<T> {
  let timer: ReturnType<typeof setTimeout> | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(() => reject(new Late()), patience_ms);
  });
  try {
    return await Promise.race([work, late]);
  } finally {
    clearTimeout(timer);
  }
}

export class Late extends Error {
  override readonly name = 'Late';
}
