// EV arithmetic and shutter scales. Pure: values in, values out; knows no plan, no body, no clock.
export * from './aperture.js';
export * from './apex.js';
export * from './ev.js';
export * from './iso.js';
export * from './limits.js';
export * from './readings.js';
export * from './shutter.js';
