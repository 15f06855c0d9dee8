// The position of the sun, for schedules and for the panel's look. suncalc works it out; the altitudes that
// almanacs count by are defined here.
import { getPosition } from 'suncalc';

/**
 * Degrees of the sun's middle above a level horizon, as almanacs count: at sunrise and sunset its upper edge is on the horizon,
 * lifted by the air (34' of bending, 16' of radius). Civil twilight goes down to -6, nautical to -12 degrees, without the air.
 */
export const UPPER_EDGE_ALTITUDE = -0.833;
export const CIVIL_ALTITUDE = -6;
export const NAUTICAL_ALTITUDE = -12;

/** By how many degrees suncalc lifts the sun for the air's bending, wherever it is below the horizon. */
const BENT = 0.484;

/**
 * @param latitude decimal degrees, north positive
 * @param longitude decimal degrees, east positive
 * @returns degrees of the sun's middle, without the air. Meant for what lies below the horizon: above it up to half a degree too much
 */
export const sunAltitude = (at: number, latitude: number, longitude: number): number =>
  getPosition(new Date(at), latitude, longitude).altitude - BENT;
