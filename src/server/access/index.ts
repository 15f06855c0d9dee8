// Who is let in, and to do what.
export { Access } from './access.js';
export { type Bounds, boundConnections, LARGEST_HEADER_BYTES, LOOK_FOR_SLOW_MS } from './bounds.js';
export { Bucket, Buckets, type Rate } from './bucket.js';
export { type Certificate, ownCertificate } from './certificate.js';
export { type Door, doorHere, doorToNetwork } from './door.js';
export { hostNames, networkAddresses } from './names.js';
export { codeAsText } from './qr.js';
export { addAccess, type OpenDoor, pairingAnswer } from './routes.js';
export { addressOf } from './throttle.js';
export { mustBeAllowed, type Need, STRANGER, usualNeed, type Visitor } from './visitor.js';
