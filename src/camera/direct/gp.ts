// libgphoto2 itself: every function that is called, with its prototype as the header has it. Nothing but these lines tells what
// a call takes, so tests/wire/gp-headers.test.ts has a compiler compare them with the headers. Written by hand from those of
// libgphoto2 2.5.30.
//
// `_Out_` marks what the function fills in: an array of one element, or the fields of an object. What only looks into memory
// (lists, widgets, files) is called at once; what may reach the body goes through calls.ts.
import type { KoffiFunc } from 'koffi';

declare const kind: unique symbol;
/** A pointer to something that the library made; 0n and null mean none. */
export type Pointer<Kind extends string> = bigint & { readonly [kind]?: Kind };

export type Camera = Pointer<'Camera'>;
export type Context = Pointer<'GPContext'>;
export type List = Pointer<'CameraList'>;
export type Widget = Pointer<'CameraWidget'>;
export type File = Pointer<'CameraFile'>;
export type Abilities = Pointer<'CameraAbilitiesList'>;
export type Ports = Pointer<'GPPortInfoList'>;
export type PortInfo = Pointer<'GPPortInfo'>;
export type FileSystem = Pointer<'CameraFilesystem'>;
/** Text that belongs to whatever it was asked of. */
type Text = string | null;
/** An argument that a function fills in. */
export type Out<T> = [T | null];

/** A result code below 0, or the value that was asked for. */
type Result = number;

/** The place of a file: gphoto2-camera.h, CameraFilePath. */
export interface FilePath {
  name: string;
  folder: string;
}

/** gphoto2-filesys.h, CameraFileInfo: the part that is looked at. */
export interface FileInfo {
  file: { fields: number; size: number | bigint; mtime: number | bigint };
}

/** gphoto2-camera.h, CameraEventType. */
export const EVENT = { timeout: 1, fileAdded: 2, captureComplete: 4 } as const;

/** gphoto2-widget.h, CameraWidgetType. */
export const WIDGET = {
  window: 0,
  section: 1,
  text: 2,
  range: 3,
  toggle: 4,
  radio: 5,
  menu: 6,
  button: 7,
  date: 8,
} as const;

/** gphoto2-file.h, CameraFileType: the file itself, not a preview of it. */
export const NORMAL = 1;

/** gphoto2-filesys.h, CameraFileInfoFields. */
export const INFO = { size: 1 << 2, mtime: 1 << 7 } as const;

/** gphoto2-version.h, GPVersionVerbosity. */
export const SHORT = 0;

export type Declare = <T extends (...args: never[]) => unknown>(prototype: string) => KoffiFunc<T>;

/** libgphoto2.so.6. */
export const ofLibrary = (f: Declare) => ({
  // gphoto2-version.h
  gp_library_version: f<(verbose: number) => bigint>(
    'const char **gp_library_version(GPVersionVerbosity verbose)',
  ),

  // gphoto2-context.h
  gp_context_new: f<() => Context>('GPContext *gp_context_new(void)'),
  gp_context_unref: f<(context: Context) => void>('void gp_context_unref(GPContext *context)'),
  gp_context_set_error_func: f<(context: Context, func: bigint, data: null) => void>(
    'void gp_context_set_error_func(GPContext *context, GPContextErrorFunc func, void *data)',
  ),

  // gphoto2-setting.h
  gp_setting_set: f<(id: string, key: string, value: string) => Result>(
    'int gp_setting_set(char *id, char *key, char *value)',
  ),

  // gphoto2-list.h
  gp_list_new: f<(list: Out<List>) => Result>('int gp_list_new(_Out_ CameraList **list)'),
  gp_list_free: f<(list: List) => Result>('int gp_list_free(CameraList *list)'),
  gp_list_count: f<(list: List) => Result>('int gp_list_count(CameraList *list)'),
  gp_list_get_name: f<(list: List, index: number, name: Out<Text>) => Result>(
    'int gp_list_get_name(CameraList *list, int index, _Out_ const char **name)',
  ),
  gp_list_get_value: f<(list: List, index: number, value: Out<Text>) => Result>(
    'int gp_list_get_value(CameraList *list, int index, _Out_ const char **value)',
  ),

  // gphoto2-abilities-list.h
  gp_abilities_list_new: f<(list: Out<Abilities>) => Result>(
    'int gp_abilities_list_new(_Out_ CameraAbilitiesList **list)',
  ),
  gp_abilities_list_free: f<(list: Abilities) => Result>(
    'int gp_abilities_list_free(CameraAbilitiesList *list)',
  ),
  gp_abilities_list_load: f<(list: Abilities, context: Context) => Result>(
    'int gp_abilities_list_load(CameraAbilitiesList *list, GPContext *context)',
  ),
  gp_abilities_list_detect: f<(list: Abilities, ports: Ports, found: List, context: Context) => Result>(
    'int gp_abilities_list_detect(CameraAbilitiesList *list, GPPortInfoList *info_list, CameraList *l, GPContext *context)',
  ),
  gp_abilities_list_lookup_model: f<(list: Abilities, model: string) => Result>(
    'int gp_abilities_list_lookup_model(CameraAbilitiesList *list, const char *model)',
  ),
  gp_abilities_list_get_abilities: f<(list: Abilities, index: number, abilities: object) => Result>(
    'int gp_abilities_list_get_abilities(CameraAbilitiesList *list, int index, _Out_ CameraAbilities *abilities)',
  ),

  // gphoto2-camera.h
  gp_camera_new: f<(camera: Out<Camera>) => Result>('int gp_camera_new(_Out_ Camera **camera)'),
  gp_camera_unref: f<(camera: Camera) => Result>('int gp_camera_unref(Camera *camera)'),
  gp_camera_set_abilities: f<(camera: Camera, abilities: object) => Result>(
    'int gp_camera_set_abilities(Camera *camera, CameraAbilities abilities)',
  ),
  gp_camera_set_port_info: f<(camera: Camera, info: PortInfo) => Result>(
    'int gp_camera_set_port_info(Camera *camera, GPPortInfo info)',
  ),
  gp_camera_init: f<(camera: Camera, context: Context) => Result>(
    'int gp_camera_init(Camera *camera, GPContext *context)',
  ),
  gp_camera_exit: f<(camera: Camera, context: Context) => Result>(
    'int gp_camera_exit(Camera *camera, GPContext *context)',
  ),
  gp_camera_get_config: f<(camera: Camera, window: Out<Widget>, context: Context) => Result>(
    'int gp_camera_get_config(Camera *camera, _Out_ CameraWidget **window, GPContext *context)',
  ),
  gp_camera_get_single_config: f<
    (camera: Camera, name: string, widget: Out<Widget>, context: Context) => Result
  >(
    'int gp_camera_get_single_config(Camera *camera, const char *name, _Out_ CameraWidget **widget, GPContext *context)',
  ),
  gp_camera_set_single_config: f<(camera: Camera, name: string, widget: Widget, context: Context) => Result>(
    'int gp_camera_set_single_config(Camera *camera, const char *name, CameraWidget *widget, GPContext *context)',
  ),
  gp_camera_trigger_capture: f<(camera: Camera, context: Context) => Result>(
    'int gp_camera_trigger_capture(Camera *camera, GPContext *context)',
  ),
  gp_camera_wait_for_event: f<
    (camera: Camera, timeout: number, type: Out<number>, data: Out<bigint>, context: Context) => Result
  >(
    'int gp_camera_wait_for_event(Camera *camera, int timeout, _Out_ CameraEventType *eventtype, _Out_ void **eventdata, GPContext *context)',
  ),
  gp_camera_get_storageinfo: f<
    (camera: Camera, storages: Out<bigint>, count: Out<number>, context: Context) => Result
  >(
    'int gp_camera_get_storageinfo(Camera *camera, _Out_ CameraStorageInformation **storages, _Out_ int *count, GPContext *context)',
  ),
  gp_camera_folder_list_files: f<(camera: Camera, folder: string, list: List, context: Context) => Result>(
    'int gp_camera_folder_list_files(Camera *camera, const char *folder, CameraList *list, GPContext *context)',
  ),
  gp_camera_folder_list_folders: f<(camera: Camera, folder: string, list: List, context: Context) => Result>(
    'int gp_camera_folder_list_folders(Camera *camera, const char *folder, CameraList *list, GPContext *context)',
  ),
  gp_camera_file_get_info: f<
    (camera: Camera, folder: string, file: string, info: object, context: Context) => Result
  >(
    'int gp_camera_file_get_info(Camera *camera, const char *folder, const char *file, _Out_ CameraFileInfo *info, GPContext *context)',
  ),
  gp_camera_file_get: f<
    (camera: Camera, folder: string, name: string, type: number, file: File, context: Context) => Result
  >(
    'int gp_camera_file_get(Camera *camera, const char *folder, const char *file, CameraFileType type, CameraFile *camera_file, GPContext *context)',
  ),
  gp_camera_file_read: f<
    (
      camera: Camera,
      folder: string,
      name: string,
      type: number,
      offset: number,
      bytes: Uint8Array,
      size: [number | bigint],
      context: Context,
    ) => Result
  >(
    'int gp_camera_file_read(Camera *camera, const char *folder, const char *file, CameraFileType type, uint64_t offset, Room buf, _Inout_ uint64_t *size, GPContext *context)',
  ),

  // gphoto2-filesys.h
  gp_filesystem_reset: f<(system: FileSystem) => Result>('int gp_filesystem_reset(CameraFilesystem *fs)'),

  // gphoto2-file.h
  gp_file_new: f<(file: Out<File>) => Result>('int gp_file_new(_Out_ CameraFile **file)'),
  gp_file_unref: f<(file: File) => Result>('int gp_file_unref(CameraFile *file)'),
  gp_file_get_data_and_size: f<(file: File, data: Out<bigint>, size: Out<number | bigint>) => Result>(
    'int gp_file_get_data_and_size(CameraFile *file, _Out_ Bytes *data, _Out_ unsigned long *size)',
  ),

  // gphoto2-widget.h
  gp_widget_free: f<(widget: Widget) => Result>('int gp_widget_free(CameraWidget *widget)'),
  gp_widget_count_children: f<(widget: Widget) => Result>(
    'int gp_widget_count_children(CameraWidget *widget)',
  ),
  gp_widget_get_child: f<(widget: Widget, index: number, child: Out<Widget>) => Result>(
    'int gp_widget_get_child(CameraWidget *widget, int child_number, _Out_ CameraWidget **child)',
  ),
  gp_widget_get_type: f<(widget: Widget, type: Out<number>) => Result>(
    'int gp_widget_get_type(CameraWidget *widget, _Out_ CameraWidgetType *type)',
  ),
  gp_widget_get_name: f<(widget: Widget, name: Out<Text>) => Result>(
    'int gp_widget_get_name(CameraWidget *widget, _Out_ const char **name)',
  ),
  gp_widget_get_label: f<(widget: Widget, label: Out<Text>) => Result>(
    'int gp_widget_get_label(CameraWidget *widget, _Out_ const char **label)',
  ),
  gp_widget_get_readonly: f<(widget: Widget, readonly: Out<number>) => Result>(
    'int gp_widget_get_readonly(CameraWidget *widget, _Out_ int *readonly)',
  ),
  gp_widget_get_range: f<
    (widget: Widget, least: Out<number>, most: Out<number>, step: Out<number>) => Result
  >(
    'int gp_widget_get_range(CameraWidget *range, _Out_ float *min, _Out_ float *max, _Out_ float *increment)',
  ),
  gp_widget_count_choices: f<(widget: Widget) => Result>('int gp_widget_count_choices(CameraWidget *widget)'),
  gp_widget_get_choice: f<(widget: Widget, index: number, choice: Out<Text>) => Result>(
    'int gp_widget_get_choice(CameraWidget *widget, int choice_number, _Out_ const char **choice)',
  ),
  // Text: a pointer to it. A range: a float. A toggle or a date: an int.
  gp_widget_get_value: f<(widget: Widget, value: Buffer) => Result>(
    'int gp_widget_get_value(CameraWidget *widget, void *value)',
  ),
  gp_widget_set_value: f<(widget: Widget, value: Buffer) => Result>(
    'int gp_widget_set_value(CameraWidget *widget, const void *value)',
  ),
});

/** libgphoto2_port.so.12. */
export const ofPortLibrary = (f: Declare) => ({
  // gphoto2-port-info-list.h
  gp_port_info_list_new: f<(list: Out<Ports>) => Result>(
    'int gp_port_info_list_new(_Out_ GPPortInfoList **list)',
  ),
  gp_port_info_list_free: f<(list: Ports) => Result>('int gp_port_info_list_free(GPPortInfoList *list)'),
  gp_port_info_list_load: f<(list: Ports) => Result>('int gp_port_info_list_load(GPPortInfoList *list)'),
  gp_port_info_list_lookup_path: f<(list: Ports, path: string) => Result>(
    'int gp_port_info_list_lookup_path(GPPortInfoList *list, const char *path)',
  ),
  gp_port_info_list_get_info: f<(list: Ports, index: number, info: Out<PortInfo>) => Result>(
    'int gp_port_info_list_get_info(GPPortInfoList *list, int n, _Out_ GPPortInfo *info)',
  ),
});

/** The C library, to free memory that the library hands over. */
export const ofC = (f: Declare) => ({
  free: f<(pointer: bigint) => void>('void free(void *ptr)'),
});
