// A photo made small enough to be kept: a JPEG without what the camera wrote into it.
import { Refused } from "../api";

const LONGEST_PX = 1280;
const QUALITY = 0.8;

export async function smaller(file: File): Promise<Blob> {
  const picture = await createImageBitmap(file).catch(() => {
    throw new Refused(0, `${file.name} is no picture that this phone can read; take a JPEG or PNG.`);
  });
  const scale = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d")!.drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve, reject) =>
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Refused(0, "The photo cannot be made smaller here."))), "image/jpeg", QUALITY),
  );
}
