// A second is a second here, also for a tab that nobody looks at: a page's own timers are slowed to one a minute.
setInterval(() => postMessage(0), 1000);
