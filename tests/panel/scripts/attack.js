// All the ways a page has to read from another server, or to order something there.
async base => {
  const read = []
  const tried = []
  const heard = text => { if (text) read.push(String(text).slice(0, 200)) }
  addEventListener('error', event => heard(event.message !== 'Script error.' && event.message), true)
  const json = {method: 'POST', headers: {'Content-Type': 'application/json'}, body: '{}'}
  const tries = {
    cors: () => fetch(base + 'api/panel').then(a => a.text()).then(heard),
    credentials: () => fetch(base + 'api/panel', {credentials: 'include'}).then(a => a.text()).then(heard),
    nocors: () => fetch(base + 'api/panel', {mode: 'no-cors'}).then(a => a.text()).then(heard),
    page: () => fetch(base).then(a => a.text()).then(heard),
    order_json: () => fetch(base + 'api/clear', json),
    order_json_nocors: () => fetch(base + 'api/clear', {...json, mode: 'no-cors'}),
    order_text: () => fetch(base + 'api/clear', {method: 'POST', mode: 'no-cors', body: '{}'}),
    order_blob: () => fetch(base + 'api/clear', {method: 'POST', mode: 'no-cors', body: new Blob(['{}'], {type: 'application/json'})}),
    order_get: () => fetch(base + 'api/clear', {mode: 'no-cors'}),
    beacon: async () => navigator.sendBeacon(base + 'api/clear', new Blob(['{}'], {type: 'text/plain'})),
    put: () => fetch(base + 'api/plan', {method: 'PUT', headers: {'Content-Type': 'application/json'}, body: '{"routeId":"a"}'}),
    script: () => element('script', {src: base + 'api/panel'}),
    module: () => element('script', {src: base + 'panel.js', type: 'module'}),
    style: () => element('link', {rel: 'stylesheet', href: base + 'api/panel'}),
    image: () => element('img', {src: base + 'icon.svg'}).then(how => heard(how === 'load' && 'the icon was drawn')),
    events: () => new Promise(done => { const s = new EventSource(base + 'api/panel'); s.onerror = () => { s.close(); done() }; s.onmessage = e => { heard(e.data); done() } }),
    socket: () => new Promise(done => { const s = new WebSocket(base.replace('http', 'ws') + 'api/panel'); s.onerror = s.onclose = done; s.onopen = () => { heard('a socket'); done() } }),
    frame: () => framed(base),
    frame_document: () => framed(base + 'api/panel'),
    form_text: () => form('clear', 'text/plain', ['{"a":"', '"}']),
    form_url: () => form('plan', 'application/x-www-form-urlencoded', ['routeId', 'a']),
    form_parts: () => form('plan', 'multipart/form-data', ['routeId', 'a']),
    form_get: () => form('clear', 'application/x-www-form-urlencoded', ['a', 'b'], 'GET')
  }
  function element (tag, attributes) {
    return new Promise(done => {
      const made = Object.assign(document.createElement(tag), attributes)
      made.onload = () => done('load')
      made.onerror = () => done('error')
      document.head.append(made)
    })
  }
  function framed (url, name = '') {
    return new Promise(done => {
      const frame = Object.assign(document.createElement('iframe'), {src: url, name})
      frame.onload = () => {
        try { heard(frame.contentDocument?.body?.textContent) } catch { /* another origin's */ }
        if (frame.contentWindow.length) heard('frames inside')
        done()
      }
      document.body.append(frame)
    })
  }
  async function form (order, enctype, [name, value], method = 'POST') {
    const target = 'frame-' + order + enctype
    await framed('about:blank', target)
    const made = Object.assign(document.createElement('form'), {action: base + 'api/' + order, method, enctype, target})
    made.append(Object.assign(document.createElement('input'), {name, value}))
    document.body.append(made)
    made.submit()
    await new Promise(done => setTimeout(done, 150))
  }
  for (const [name, run] of Object.entries(tries)) {
    const patience = new Promise(done => setTimeout(done, 1500))
    try { await Promise.race([run(), patience]) } catch (error) { /* refused */ }
    tried.push(name)
  }
  return {read, tried}
}
