'use strict'

/** What the host asks the user for, and what holds where the user said nothing. */

const schema = {
  type: 'object',
  title: 'Goosewing',
  description:
    'Advice for the helm, never steering: the plugin sends nothing an autopilot follows. ' +
    'Not for sole navigation.',
  required: ['boat'],
  properties: {
    boat: {
      type: 'string',
      title: 'Boat file',
      description: 'Full path of boat.toml on this machine'
    },
    python: {
      type: 'string',
      title: 'Python',
      description: 'The Python that Goosewing is installed in, e.g. /home/pi/goosewing/.venv/bin/python',
      default: 'python3'
    },
    performance: {
      type: 'number',
      title: 'Performance',
      description: 'Factor on the boat speeds of the polar: 1 is the polar itself',
      default: 1,
      minimum: 0.1,
      maximum: 1.5
    },
    route: {
      type: 'string',
      title: 'Which route to plan',
      enum: ['active', 'asked'],
      enumNames: ['The route that is active in the host', 'Only the route that is asked for'],
      default: 'active'
    },
    forecast: {
      type: 'boolean',
      title: 'Use the forecast of the host’s weather provider, if it has one',
      default: true
    },
    publish: {
      type: 'object',
      title: 'What to publish',
      properties: {
        plan: { type: 'boolean', title: 'The plan: routes, waypoints and notes', default: true },
        laylines: { type: 'boolean', title: 'Laylines', default: true },
        targets: { type: 'boolean', title: 'Targets and distances as data', default: true },
        alerts: {
          type: 'string',
          title: 'Notifications',
          enum: ['off', 'seen', 'heard'],
          enumNames: ['None', 'On the screen', 'On the screen, with a sound for warnings'],
          default: 'heard'
        }
      }
    },
    options: {
      type: 'object',
      title: 'How to plan (leave empty for the defaults)',
      properties: {
        margin_deg: { type: 'number', title: 'Tack this many degrees past the layline', minimum: 0, maximum: 45 },
        corridor_nm: { type: 'number', title: 'Keep within so many miles of the straight line', minimum: 0.01, maximum: 1000 },
        shortest_board_min: { type: 'number', title: 'Shortest board, minutes', minimum: 0, maximum: 1440 },
        rounding_nm: { type: 'number', title: 'A mark counts as rounded within so many miles', minimum: 0.005, maximum: 5 },
        stand_by_min: {
          type: 'array',
          title: 'Minutes before a turn at which to say stand by (leave empty for 5 and 1)',
          items: { type: 'number', minimum: 0.1, maximum: 60 }
        },
        shifts: { type: 'string', title: 'Shifty wind: degrees and minutes, such as 5/10, or auto; plans are then for its mean, and a turn is told when a shift is worth it' },
        variation_deg: { type: 'number', title: 'Magnetic variation where none is received, east positive', minimum: -180, maximum: 180 },
        hazards: {
          type: 'array',
          title: 'Files of areas to keep clear of: full paths of GeoJSON, GPX, shapefiles, GeoPackages or S-57 cells',
          items: { type: 'string' }
        },
        safe_depth_m: { type: 'number', title: 'With S-57 cells: keep clear of less charted depth, metres', minimum: 0.1, maximum: 100 },
        tide_m: { type: 'number', title: 'With S-57 cells: the lowest height of tide over charted depths, metres', minimum: -20, maximum: 20 },
        coast: { type: 'boolean', title: 'Keep clear of the built-in coast: coarse, not for navigation' },
        clearance_nm: { type: 'number', title: 'Miles to keep off land and those areas', minimum: 0, maximum: 10 },
        wind_paths: { type: 'string', title: 'Wind to take where a source gives both', enum: ['true', 'apparent'] },
        prefer: {
          type: 'object',
          title: 'Preferred sources, as the host names them',
          properties: Object.fromEntries(['wind', 'position', 'heading', 'log', 'course', 'current'].map(name => [name, { type: 'string', title: name }]))
        }
      }
    },
    patience_s: {
      type: 'integer',
      title: 'Restart an engine that has been silent for so many seconds',
      default: 20,
      minimum: 6,
      maximum: 600
    }
  }
}

function defaults (properties) {
  const result = {}
  for (const [key, property] of Object.entries(properties)) {
    if (property.properties) result[key] = defaults(property.properties)
    else if ('default' in property) result[key] = property.default
  }
  return result
}

/** A setting of the wrong type is as good as none: an old or hand-made file must not stop the plugin. */
function fits (value, property) {
  if (property.type === 'integer' || property.type === 'number') {
    return Number.isFinite(value) && !(value < property.minimum) && !(value > property.maximum) &&
      (property.type === 'number' || Number.isInteger(value))
  }
  // eslint-disable-next-line valid-typeof
  return typeof value === property.type && value !== '' && (!property.enum || property.enum.includes(value))
}

function merge (given, properties) {
  const result = defaults(properties)
  const usable = given !== null && typeof given === 'object' ? given : {}
  for (const [key, property] of Object.entries(properties)) {
    if (property.properties) result[key] = merge(usable[key], property.properties)
    // An empty line in a list must not undo the others.
    else if (property.items) { if (Array.isArray(usable[key])) result[key] = usable[key].filter(item => fits(item, property.items)) }
    else if (fits(usable[key], property)) result[key] = usable[key]
  }
  return result
}

/** The user's settings, completed. */
const complete = given => merge(given, schema.properties)

module.exports = { schema, complete }
