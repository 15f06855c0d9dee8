// Looks for bodies, and finds out what the library needs to know of one before it opens it.

import { readingFailed } from '../library/result-codes.js';
import type { AttachedPort } from '../link.js';
import { CallFailure, type Calls } from './calls.js';
import type { Abilities, Camera, Context, List, Out, PortInfo, Ports } from './gp.js';
import type { Gp } from './load.js';
import { entriesOf, made } from './memory.js';

/** The name of the generic port, which stands for no body. */
const ANY_PORT = 'usb:';

/** The result of a search; `free` is called when nothing of it is needed any more. */
export interface Search {
  readonly found: readonly AttachedPort[];
  /** @returns a camera object for one of them, which needs the search no more; nothing of the body is touched */
  camera(port: AttachedPort): Camera;
  free(): void;
}

/** Loads the drivers, which is most of the cost of a start, and looks at every port. */
export async function search(gp: Gp, calls: Calls, context: Context): Promise<Search> {
  const ports: Ports = made(gp.gp_port_info_list_new);
  const abilities: Abilities = made(gp.gp_abilities_list_new);
  const list: List = made(gp.gp_list_new);
  const free = () => {
    gp.gp_list_free(list);
    gp.gp_abilities_list_free(abilities);
    gp.gp_port_info_list_free(ports);
  };
  try {
    await calls.must(gp.gp_port_info_list_load, ports);
    await calls.must(gp.gp_abilities_list_load, abilities, context);
    await calls.must(gp.gp_abilities_list_detect, abilities, ports, list, context);
    const found = entriesOf(gp, list)
      .map(([model, port]) => ({ model, port }))
      .filter(({ port }) => port !== ANY_PORT);
    return { found, camera: (port) => cameraAt(gp, abilities, ports, port), free };
  } catch (cause) {
    free();
    throw cause instanceof CallFailure ? readingFailed(cause.code) : cause;
  }
}

function cameraAt(gp: Gp, abilities: Abilities, ports: Ports, { model, port }: AttachedPort): Camera {
  const camera: Camera = made(gp.gp_camera_new);
  try {
    const driver = {};
    const info: Out<PortInfo> = [null];
    mustBe(
      gp.gp_abilities_list_get_abilities(
        abilities,
        mustBe(gp.gp_abilities_list_lookup_model(abilities, model)),
        driver,
      ),
    );
    mustBe(gp.gp_camera_set_abilities(camera, driver));
    mustBe(gp.gp_port_info_list_get_info(ports, mustBe(gp.gp_port_info_list_lookup_path(ports, port)), info));
    mustBe(gp.gp_camera_set_port_info(camera, info[0] ?? 0n));
    return camera;
  } catch (cause) {
    gp.gp_camera_unref(camera);
    throw cause instanceof CallFailure ? readingFailed(cause.code) : cause;
  }
}

function mustBe(code: number): number {
  if (code < 0) throw new CallFailure(code);
  return code;
}
