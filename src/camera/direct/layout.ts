// The types that the prototypes of gp.ts name, as they are in memory: members as in the headers of libgphoto2
// 2.5.30. tests/wire/gp-headers.test.ts has a compiler compare sizes and offsets.

export type Koffi = typeof import('koffi')['default'];

/** gphoto2-camera.h, struct _Camera: the second of its pointers is the file system, which the library leaves to drivers. */
export const FILE_SYSTEM_AT = 8;

/** Once a process: the names can only be given once. */
export function declareTypes(koffi: Koffi) {
  const text = (length: number) => koffi.array('char', length, 'String');
  for (const name of [
    'Camera',
    'GPContext',
    'CameraList',
    'CameraWidget',
    'CameraFile',
    'CameraAbilitiesList',
    'CameraFilesystem',
    'CameraStorageInformation',
    'GPPortInfoList',
  ]) {
    koffi.opaque(name);
  }
  koffi.pointer('GPPortInfo', koffi.opaque());
  for (const name of ['GPVersionVerbosity', 'CameraEventType', 'CameraWidgetType', 'CameraFileType']) {
    koffi.alias(name, 'int');
  }
  // `const char *` and `char *` of the headers, if they are bytes and not text.
  koffi.pointer('Bytes', koffi.opaque());
  koffi.pointer('Room', 'uint8_t');
  koffi.pointer('GPContextErrorFunc', koffi.proto('void', ['GPContext *', 'const char *', 'void *']));
  const path = koffi.struct('CameraFilePath', { name: text(128), folder: text(1024) });
  koffi.struct('CameraAbilities', {
    model: text(128),
    status: 'int',
    port: 'int',
    speed: koffi.array('int', 64),
    operations: 'int',
    file_operations: 'int',
    folder_operations: 'int',
    usb_vendor: 'int',
    usb_product: 'int',
    usb_class: 'int',
    usb_subclass: 'int',
    usb_protocol: 'int',
    library: text(1024),
    id: text(1024),
    device_type: 'int',
    reserved: koffi.array('int', 7),
  });
  const preview = koffi.struct({
    fields: 'int',
    status: 'int',
    size: 'uint64_t',
    type: text(64),
    width: 'uint32_t',
    height: 'uint32_t',
  });
  const file = koffi.struct({
    fields: 'int',
    status: 'int',
    size: 'uint64_t',
    type: text(64),
    width: 'uint32_t',
    height: 'uint32_t',
    permissions: 'int',
    mtime: 'long',
  });
  const audio = koffi.struct({ fields: 'int', status: 'int', size: 'uint64_t', type: text(64) });
  koffi.struct('CameraFileInfo', { preview, file, audio });
  return { path };
}
