// The viewer's time zone, for what the server writes; before anything is asked of it. The page itself is asked for next:
// a link in the document would be followed before this is known.
{
document.cookie = `zone=${Intl.DateTimeFormat().resolvedOptions().timeZone}; path=/; max-age=31536000; samesite=strict`;
const page = Object.assign(document.createElement("link"), { rel: "preload", as: "fetch", href: "/_dash-layout", crossOrigin: "anonymous" });
document.head.append(page);
}
