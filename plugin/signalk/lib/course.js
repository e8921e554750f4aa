'use strict'

/** Routes as the host stores them, made into what the engine plans. */

/** `/resources/routes/<id>` -> `<id>`, or null. */
function routeIdOf (href) {
  const match = /^\/resources\/routes\/([0-9A-Fa-f-]{36})$/.exec(href || '')
  return match ? match[1] : null
}

const isPosition = at => Array.isArray(at) && Number.isFinite(at[0]) && Number.isFinite(at[1])

/** The points of a stored route, in the order sailed; throws one plain line if it has none. */
function pointsOf (route, reverse) {
  if (!usable(route)) throw new Error('the route has no usable points')
  const { coordinates } = route.feature.geometry
  const names = route.feature.properties?.coordinatesMeta
  const points = coordinates.map(([lon, lat], at) => ({ lat, lon, name: nameOf(names, at) }))
  return reverse ? points.reverse() : points
}

function nameOf (names, at) {
  const name = Array.isArray(names) ? names[at]?.name : null
  return typeof name === 'string' && name.trim() ? name : `Point ${at + 1}`
}

/** The route being followed in the host: `{routeId, name, next, reverse}`, or null. */
async function followed (app) {
  const course = typeof app.getCourse === 'function' ? await app.getCourse() : null
  const routeId = routeIdOf(course?.activeRoute?.href)
  if (!routeId) return null
  const { name, pointIndex, reverse } = course.activeRoute
  return { routeId, name: String(name || 'Route'), next: pointIndex ?? 0, reverse: Boolean(reverse) }
}

/** A stored route by its id, or null where there is none (the host answers an empty object then). */
async function stored (app, routeId) {
  try {
    const route = await app.resourcesApi.getResource('routes', routeId)
    return route?.feature ? route : null
  } catch {
    return null
  }
}

/** The stored routes that can be planned, by name: `{id, name, points}`; `mine` tells the plugin's own. */
async function plannable (app, mine) {
  const routes = await app.resourcesApi.listResources('routes', {}).catch(() => ({}))
  return Object.entries(routes)
    .filter(([id, route]) => !mine(id) && usable(route))
    .map(([id, route]) => ({ id, name: String(route.name || 'Route'), points: route.feature.geometry.coordinates.length }))
    .sort((one, other) => one.name.localeCompare(other.name))
}

function usable (route) {
  const coordinates = route?.feature?.geometry?.coordinates
  return Array.isArray(coordinates) && coordinates.length > 0 && coordinates.every(isPosition)
}

module.exports = { pointsOf, followed, stored, plannable }
