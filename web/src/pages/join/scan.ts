/**
 * Reads QR codes from the camera's pictures: by the browser's own reader where it has one, else by a
 * library that is fetched only then. Pictures stay in this page's memory and go nowhere.
 */

/** What `BarcodeDetector` is, where a browser has it; the language's own library does not list it yet. */
interface Detector {
  detect(picture: CanvasImageSource): Promise<readonly { rawValue: string }[]>;
}
interface DetectorMaker {
  new (options: { formats: readonly string[] }): Detector;
  getSupportedFormats(): Promise<readonly string[]>;
}

/** Reads one picture; null when there is no code in it. */
export type Read = (video: HTMLVideoElement) => Promise<string | null>;

/** Wide enough for a code held at arm's length; more only takes longer. */
const WIDTH = 640;
/** Five pictures a second are as quick as a hand is steady, and spare the battery. */
const BETWEEN_MS = 200;

export async function reader(): Promise<Read> {
  const maker = (globalThis as { BarcodeDetector?: DetectorMaker }).BarcodeDetector;
  if (maker && (await maker.getSupportedFormats()).includes('qr_code')) {
    const detector = new maker({ formats: ['qr_code'] });
    return async (video) => (await detector.detect(video))[0]?.rawValue ?? null;
  }
  const { default: jsQR } = await import('jsqr');
  const canvas = document.createElement('canvas');
  const pen = canvas.getContext('2d', { willReadFrequently: true });
  return (video) => {
    if (!pen || video.videoWidth === 0) return Promise.resolve(null);
    canvas.width = Math.min(WIDTH, video.videoWidth);
    canvas.height = Math.round((canvas.width * video.videoHeight) / video.videoWidth);
    pen.drawImage(video, 0, 0, canvas.width, canvas.height);
    const { data, width, height } = pen.getImageData(0, 0, canvas.width, canvas.height);
    return Promise.resolve(jsQR(data, width, height, { inversionAttempts: 'dontInvert' })?.data ?? null);
  };
}

class NoCamera extends Error {
  override readonly name = 'NoCamera';
}

/** Why there is no picture, in words for the person. */
export function cameraTrouble(reason: unknown): string {
  const name = reason instanceof Error ? reason.name : '';
  if (name === 'NoCamera')
    return 'The browser gives a camera only to pages that come over HTTPS: type the pass.';
  if (name === 'NotAllowedError')
    return 'This page may not use the camera. Allow it in the browser, or type the pass.';
  if (name === 'NotFoundError') return 'No camera was found on this device: type the pass.';
  if (name === 'NotReadableError') return 'Another program has the camera. Close it, or type the pass.';
  return 'The camera gives no picture: type the pass.';
}

/**
 * Shows the camera in `video` and reads it until `onread` says that it was enough, or the caller stops it.
 * Rejects when there is no picture.
 */
export async function scan(
  video: HTMLVideoElement,
  onread: (text: string) => boolean,
  stopped: AbortSignal,
): Promise<void> {
  // Over plain HTTP a browser gives no camera to anybody but its own machine.
  if (!('mediaDevices' in navigator)) throw new NoCamera();
  const stream = await navigator.mediaDevices.getUserMedia({
    video: { facingMode: 'environment' },
    audio: false,
  });
  try {
    video.srcObject = stream;
    const [read] = await Promise.all([reader(), video.play()]);
    do {
      const text = await read(video);
      if (text !== null && onread(text)) return;
      await new Promise((go) => setTimeout(go, BETWEEN_MS));
    } while (!stopped.aborted);
  } finally {
    for (const track of stream.getTracks()) track.stop();
    video.srcObject = null;
  }
}
