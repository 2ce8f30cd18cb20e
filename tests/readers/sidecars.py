"""Reads a reel's sidecars by programs of others and prints what they saw as one JSON document.

    sidecars.py PACKAGES BASE RATE [edl]

BASE is the reel's path without its ending, RATE its frames a second (30000/1001). With `edl` only BASE.edl is read.
OpenTimelineIO 0.18.1 reads .otio, otio-cmx3600-adapter 1.0.0 .edl, webvtt-py 0.6.0 .vtt, Python's html.parser .html.
"""

import base64
import json
import os
import sys
from fractions import Fraction
from html.parser import HTMLParser

packages, base, rate = sys.argv[1:4]
sys.path.insert(0, packages)
os.environ["OTIO_PLUGIN_MANIFEST_PATH"] = f"{packages}/otio_cmx3600_adapter/plugin_manifest.json"

import opentimelineio as otio  # noqa: E402


def clips(timeline):
    assert len(timeline.tracks) == 1, timeline.tracks
    seen = []
    for clip in timeline.tracks[0]:
        place = clip.range_in_parent()
        media = clip.media_reference
        seen.append({
            "kind": type(clip).__name__,
            "name": clip.name,
            "start": clip.source_range.start_time.value,
            "start_rate": clip.source_range.start_time.rate,
            "reel_start": place.start_time.value,
            "frames": clip.source_range.duration.value,
            "url": getattr(media, "target_url", None),
            "snap": [m.marked_range.start_time.value for m in clip.markers],
            "metadata": json.loads(otio.core.serialize_json_to_string(clip.metadata)),
        })
    return {"name": timeline.name, "clips": seen, "frames": timeline.tracks[0].duration().value}


class Page(HTMLParser):
    """All that a page names, by tag and attribute."""

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.links, self.images, self.loads, self.text = [], set(), [], [], [], []
        self.policy = ""

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.add(tag)
        if tag not in ("meta", "img"):
            self.open.append(tag)
        if attrs.get("http-equiv") == "Content-Security-Policy":
            self.policy = attrs["content"]
        for name, value in attrs.items():
            if tag == "a" and name == "href":
                self.links.append(value)
            elif tag == "img" and name == "src":
                self.images.append(value)
            elif name in ("src", "href", "srcset", "poster", "data", "action", "background", "style") or name.startswith("on"):
                self.loads.append(f"{tag} {name}={value}")

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "style":
            self.loads += [word for word in ("url(", "@import", "@font-face", "image(") if word in data]
        elif data.strip():
            self.text.append(data.strip())


num, den = (int(n) for n in rate.split("/"))
seen = {"edl": clips(otio.adapters.read_from_file(base + ".edl", "cmx_3600", rate=num / den))}
if sys.argv[4:] != ["edl"]:
    import webvtt

    timeline = otio.adapters.read_from_file(base + ".otio")
    seen["otio"] = clips(timeline)
    seen["otio"]["again"] = otio.adapters.write_to_string(timeline, "otio_json").count("Clip.2")

    def ms(clock):
        hours, minutes, seconds = clock.split(":")
        return int((Fraction(seconds) + 60 * int(minutes) + 3600 * int(hours)) * 1000)

    seen["vtt"] = [{"start": ms(c.start), "end": ms(c.end), "text": c.text} for c in webvtt.read(base + ".vtt")]
    page = Page()
    with open(base + ".html", encoding="utf-8") as file:
        page.feed(file.read())
    page.close()
    assert page.open == [], page.open
    for number, image in enumerate(page.images):
        kind, data = image.split(",", 1)
        assert kind == "data:image/jpeg;base64", kind
        with open(f"{base}-{number}.jpg", "wb") as file:
            file.write(base64.b64decode(data, validate=True))
    seen["html"] = {
        "tags": sorted(page.tags), "links": page.links, "images": len(page.images), "loads": page.loads,
        "policy": page.policy, "text": page.text,
    }
json.dump(seen, sys.stdout)
