'use strict'

// Holds what was read from a host against the standard's published schemas: the resources
// against the server's OpenAPI document, the data against signalk-schema. Run in the folder
// where the server is installed; reads {resources, deltas} from stdin, prints a list of faults.

const path = require('node:path')
const modules = path.join(process.cwd(), 'node_modules')
const load = name => require(require.resolve(name, { paths: [modules, path.join(modules, 'signalk-server')] }))

const Ajv = load('ajv')
const standard = load('@signalk/signalk-schema')
const api = require(path.join(modules, 'signalk-server/dist/api/resources/openApi.json'))

const SCHEMAS = {
  routes: 'RouteResponseModel',
  waypoints: 'WaypointResponseModel',
  notes: 'NoteResponseModel',
  regions: 'RegionResponseModel'
}

const ajv = new (Ajv.default || Ajv)({ allErrors: true, unknownFormats: 'ignore', logger: false })
ajv.addSchema(api, 'api')
const id = ajv.compile({ $ref: 'api#/components/schemas/SignalKUuid' })
const faults = []

function resources (kind, entries) {
  const valid = ajv.compile({ $ref: `api#/components/schemas/${SCHEMAS[kind]}` })
  for (const [key, value] of Object.entries(entries)) {
    if (!id(key)) faults.push(`${kind} ${key}: not an id of the standard`)
    if (!valid(value)) faults.push(`${kind} ${key}: ${ajv.errorsText(valid.errors)}`)
    geometry(kind, key, value)
  }
}

// The schema leaves a feature without geometry valid; GeoJSON (RFC 7946) does not.
function geometry (kind, key, { feature }) {
  if (kind === 'notes') return
  const { type, coordinates } = feature.geometry
  const points = type === 'Point' ? [coordinates] : type === 'Polygon' ? coordinates[0] : coordinates
  if (type === 'Polygon' && String(points[0]) !== String(points.at(-1))) faults.push(`${kind} ${key}: an open ring`)
  if (type === 'LineString' && points.length < 2) faults.push(`${kind} ${key}: a line of ${points.length} points`)
  for (const [lon, lat] of points) {
    if (!(Math.abs(lon) <= 180 && Math.abs(lat) <= 90)) faults.push(`${kind} ${key}: no place on earth: ${lon}, ${lat}`)
  }
  const names = feature.properties?.coordinatesMeta
  if (names && names.length !== points.length) faults.push(`${kind} ${key}: ${names.length} names for ${points.length} points`)
}

function data ({ path: name, value }) {
  const own = name.startsWith('notifications.') || name.startsWith('navigation.goosewing.')
  if (!own && !standard.getMetadata(`vessels.self.${name}`)) faults.push(`${name}: not a path of the standard`)
  const delta = { context: 'vessels.urn:mrn:imo:mmsi:230099999', updates: [{ $source: 'goosewing', timestamp: '2026-11-25T12:00:00Z', values: [{ path: name, value }] }] }
  const { valid, errors } = standard.validateDelta(delta)
  if (!valid) faults.push(`${name}: ${errors.map(error => error.message).join('; ')}`)
}

let text = ''
process.stdin.on('data', chunk => { text += chunk })
process.stdin.on('end', () => {
  const given = JSON.parse(text)
  for (const kind of Object.keys(SCHEMAS)) resources(kind, given.resources[kind] || {})
  given.deltas.forEach(data)
  console.log(JSON.stringify(faults))
})
