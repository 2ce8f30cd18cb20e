"""Cuts that PySceneDetect's detectors find in a film, at their own defaults: one line a cut, its frame number.

Called by references.rs with a detector's name and a film; every frame is decoded and looked at, at full size.
"""

import sys

from scenedetect import SceneManager, open_video
from scenedetect import detectors

KINDS = {
    "content": detectors.ContentDetector,
    "adaptive": detectors.AdaptiveDetector,
    "hash": detectors.HashDetector,
    "histogram": detectors.HistogramDetector,
}


def main() -> None:
    kind, film = sys.argv[1:3]
    video = open_video(film, backend="opencv")
    manager = SceneManager()
    manager.add_detector(KINDS[kind]())
    manager.detect_scenes(video)
    for start, _ in manager.get_scene_list()[1:]:
        print(start.get_frames())


main()
