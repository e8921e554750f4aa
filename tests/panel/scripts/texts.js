// What is to be read on the page, by id.
() => Object.fromEntries([...document.querySelectorAll('[id]')]
  .filter(each => each.checkVisibility())
  .map(each => [each.id, each.innerText.trim().replaceAll('\u00a0', ' ')]))
