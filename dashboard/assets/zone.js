// The viewer's time zone, for what the server writes; before anything is asked of it.
document.cookie = `zone=${Intl.DateTimeFormat().resolvedOptions().timeZone}; path=/; max-age=31536000; samesite=strict`;
