"""The document around every page: the head with the red button, the places for loud news, the cautions."""

SHELL = """\
<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<meta name="color-scheme" content="light dark">
<title>{%title%}</title>
<script src="{%own%}/zone.js"></script>
<link rel="icon" type="image/svg+xml" href="{%own%}/mark.svg">
<link rel="stylesheet" href="{%own%}/all.css">
{%css%}
{%soon%}
</head>
<body>
<a class="skip" href="#content">Skip to the page</a>
<header class="top">
  <a class="mark" href="/"><img src="{%own%}/mark.svg" alt="" width="34" height="34"><span>Keysoak</span></a>
  <nav aria-label="Pages">
    <a href="/">Rack</a><a href="/jobs">Jobs</a><a href="/alerts">Alerts<span id="alert-count" class="count"></span></a>
    <details class="more" id="more">
      <summary>More</summary>
      <div>
        <a href="/book">Book in</a>
        <a href="/plans">Plans</a>
        <a href="/lots">Lots</a>
        <a href="/calibrations">Calibrations</a>
        <a href="/links">Sensors and links</a>
        <a href="/limits">Limits</a>
        <a href="/about">Cautions and versions</a>
      </div>
    </details>
  </nav>
  <div class="horn" id="horn"></div>
  <p class="pulse" id="pulse"></p>
  <form class="unkey-all" action="/unkey" method="post" data-order="unkey">
    <button type="submit" class="red">Unkey all</button>
  </form>
</header>
<div id="said" class="said" role="alert"></div>
<div id="outage" class="outage" role="alert"></div>
<p id="speaks" class="unseen" aria-live="polite"></p>
<noscript>
<p class="outage shown">This page needs scripts to show the rack. “Unkey all” works without them.</p>
</noscript>
<div id="content" tabindex="-1">{%app_entry%}</div>
<footer class="foot">
  <p><strong>Cautions.</strong> RF burns · hot metal · mains · fire · unlicensed emission:
  soak into a rated dummy load only.
  Unkeying is no emergency stop; keep a supply switch within reach. Local codes and licensed practice come first.
  <a href="/about">All cautions</a></p>
  <div id="degrees" class="degrees"></div>
</footer>
{%config%}
<script src="{%own%}/span.js"></script>
<script src="{%own%}/grid.js"></script>
{%scripts%}
{%renderer%}
</body>
</html>
"""
