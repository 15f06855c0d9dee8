// The numbers of PTP that the practice body answers to (ISO 15740, clauses 10 to 13). What belongs to a vendor extension
// stands in the face that speaks it.

export const OPERATION = {
  getDeviceInfo: 0x1001,
  openSession: 0x1002,
  closeSession: 0x1003,
  getStorageIds: 0x1004,
  getStorageInfo: 0x1005,
  getObjectCount: 0x1006,
  getObjectHandles: 0x1007,
  getObjectInfo: 0x1008,
  getObject: 0x1009,
  deleteObject: 0x100b,
  initiateCapture: 0x100e,
  getPropertyDescription: 0x1014,
  getPropertyValue: 0x1015,
  setPropertyValue: 0x1016,
  getPartialObject: 0x101b,
} as const;

/** The properties that every body may have, whatever its vendor. */
export const PROPERTY = {
  battery: 0x5001,
  compression: 0x5004,
  whiteBalance: 0x5005,
  aperture: 0x5007,
  focus: 0x500a,
  shutter: 0x500d,
  mode: 0x500e,
  iso: 0x500f,
  compensation: 0x5010,
  clock: 0x5011,
  drive: 0x5013,
  burstNumber: 0x5018,
} as const;

export const RESPONSE = {
  ok: 0x2001,
  generalError: 0x2002,
  sessionNotOpen: 0x2003,
  operationNotSupported: 0x2005,
  invalidStorageId: 0x2008,
  invalidObjectHandle: 0x2009,
  propertyNotSupported: 0x200a,
  storeFull: 0x200c,
  accessDenied: 0x200f,
  deviceBusy: 0x2019,
  invalidPropertyValue: 0x201c,
  sessionAlreadyOpen: 0x201e,
} as const;

export const EVENT = {
  objectAdded: 0x4002,
  propertyChanged: 0x4006,
  captureComplete: 0x400d,
} as const;

export const OBJECT_FORMAT = { association: 0x3001, exifJpeg: 0x3801, jfif: 0x3808, dng: 0x3811 } as const;

/** Any storage, or the root of a storage, depending on where it stands. */
export const ALL = 0xffffffff;
