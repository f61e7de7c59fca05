// Shows what is pushed. The tag is the message's key: a double replaces the first.
self.addEventListener("push", event => {
  const m = event.data.json()
  event.waitUntil(self.registration.showNotification(m.title, {body: m.body, tag: m.tag, data: m.link}))
})
self.addEventListener("notificationclick", event => {
  event.notification.close()
  if (event.notification.data) event.waitUntil(clients.openWindow(event.notification.data))
})
