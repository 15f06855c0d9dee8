// Which of the bodies that the library found is meant, and who it is.
import { EvenrungError } from '../../../shared/errors.js';
import type { AttachedPort, BodyIdentity, Setting } from '../link.js';

/** libgphoto2 writes this if a body leaves a text out. */
const LEFT_OUT = 'None';

/**
 * @param port where the body is; if it is left out, it must be the only one
 * @throws EvenrungError no-body, several-bodies (with the `ports` in its details)
 */
export function theOne<Found extends AttachedPort>(
  cameras: readonly Found[],
  port: string | undefined,
): Found {
  const [camera, ...others] =
    port === undefined ? cameras : cameras.filter((candidate) => candidate.port === port);
  if (camera !== undefined && others.length === 0) return camera;
  if (camera !== undefined) {
    throw new EvenrungError('several-bodies', `${cameras.length} cameras are attached.`, {
      ports: cameras.map((candidate) => candidate.port),
    });
  }
  throw new EvenrungError(
    'no-body',
    'No camera was found on USB. Switch it on, check its battery, use a data cable, and if the camera asks what the connection is for, choose remote control, not storage.',
  );
}

/** @param driver the name of the driver, for a body that does not say what it is */
export function identityOf(settings: ReadonlyMap<string, Setting>, driver: string): BodyIdentity {
  const said = (name: string) => {
    const value = settings.get(name)?.value.trim() ?? '';
    return value === '' || value === LEFT_OUT ? undefined : value;
  };
  return {
    link: 'usb',
    model: said('cameramodel') ?? driver,
    serial: said('serialnumber') ?? null,
  };
}
