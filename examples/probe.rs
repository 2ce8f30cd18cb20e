//! scratch
use downbox::base::*;
use downbox::film::*;
use downbox::media::Media;
fn main() {
    let media = Media::new().unwrap();
    let mut a = std::env::args().skip(1);
    let p = a.next().unwrap();
    let len: u64 = a.next().unwrap().parse().unwrap();
    let n: u64 = a.next().unwrap().parse().unwrap();
    let align: u64 = a.next().unwrap().parse().unwrap();
    let film = media.read(&[p.into()], &Silent).unwrap();
    let t = std::time::Instant::now();
    let pts: Vec<_> = (0..film.parts.len()).map(|i| media.entry_points(&film, i).unwrap()).collect();
    let snd: Vec<_> = (0..film.parts.len()).map(|i| media.sound_plan(&film, i).unwrap()).collect();
    println!("entry {:?} {} entries {:?}", t.elapsed(), pts[0].entries.len(), pts[0].encode_because);
    let dir = std::path::PathBuf::from("/tmp/mt/clips");
    let _ = std::fs::remove_dir_all(&dir);
    std::fs::create_dir_all(&dir).unwrap();
    let step = (film.frames() - len) / n;
    let mut plans = vec![];
    let mut paths = vec![];
    for i in 0..n {
        let mut s = i * step;
        if align == 1 {
            if let Some(e) = pts[0].entries.iter().find(|e| e.0 >= s) {
                s = e.0
            }
        }
        let e = (s + len).min(film.frames());
        let e = if align == 1 { pts[0].exits.iter().rev().find(|x| x.0 <= e).unwrap().0 } else { e };
        let pl = downbox::cut::plan(&film, FrameSpan::of(s, e), &pts, &snd);
        if i < 2 {
            println!("{}", downbox::cut::Shown(&pl));
        }
        plans.push(pl);
        paths.push(dir.join(format!("{i}.mp4")));
    }
    let t = std::time::Instant::now();
    media.carry_out(&film, &plans, &paths, &mut |_| Ok(())).unwrap();
    println!("{n} clips in {:?}: {:.1}/s", t.elapsed(), n as f64 / t.elapsed().as_secs_f64());
}
