//! A woven film becomes its two cameras.

use super::Tools;
use super::ear::{Ear, Microphone, Source};
use super::survey::SurveyedCamera;
use crate::base::Problem;
use crate::film::{Angle, Film};
use crate::plays;

/// The camera that a woven film is cut as where its two cannot be told apart.
pub(super) const WOVEN: &str = "woven";

/// Whether a camera may be one of a woven film's two.
pub(super) fn is_of_woven(camera: &str) -> bool {
    Angle::named(camera) != Angle::Unknown
}

/// The two cameras of a film that was judged as a whole; `names`: the sideline's, then the end zone's. `None` where which
/// shot is whose cannot be told.
pub(super) fn unweave(
    tools: Tools<'_>,
    source: Source<'_>,
    whole: &SurveyedCamera,
    names: &[String; 2],
) -> Option<Vec<SurveyedCamera>> {
    let series = whole.series.as_ref()?;
    tools.progress.stage("split the woven film", 0);
    let microphones = [Microphone { source }];
    let mut ear = Ear::new(tools, &microphones);
    let woven = plays::split(&whole.film, series, &whole.found, &mut |a, b| ear.compare(a, b))?;
    let camera = |name: &String, found| SurveyedCamera {
        name: name.clone(),
        film: whole.film.clone(),
        found,
        given: whole.given,
        there: whole.there,
        series: Some(series.clone()),
    };
    let [sideline, end_zone] = names;
    Some(vec![camera(sideline, woven.sideline), camera(end_zone, woven.end_zone)])
}

/// What is said of a woven film that was not split, with the next step.
pub(super) fn untold(film: &Film) -> Problem {
    let place = film.parts.first().map(|part| part.path.display().to_string()).unwrap_or_default();
    let what = "which shots are the sideline's and which the end zone's cannot be told: the whole film was cut as one \
                camera named woven; if it is one camera's film, run again with --sideline or --end-zone in place of \
                --woven";
    Problem::new(place, what)
}
