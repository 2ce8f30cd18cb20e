use downbox::film::*; use downbox::base::*; use downbox::plays::{track::*,decode,snap,end};
fn main(){
 let t="/work/wt/films/tune/";
 let mode=std::env::args().nth(1).unwrap();
 let mut errs:Vec<(String,f64,f64,f64,f64,f64)>=vec![]; let mut ends_err=vec![];
 for g in std::env::args().skip(2){ for (ci,c) in ["sideline","end-zone"].iter().enumerate(){
  if mode.contains("side")&&ci==1{continue} if mode.contains("ez")&&ci==0{continue}
  let Ok(b)=std::fs::read(format!("{t}{}/{g}-{c}.json",std::env::var("SET").unwrap_or("s".into()))) else{continue};
  let d:serde_json::Value=serde_json::from_slice(&b).unwrap();
  let film:Film=serde_json::from_value(d["film"].clone()).unwrap(); let series:Series=serde_json::from_value(d["series"].clone()).unwrap();
  let truth:serde_json::Value=serde_json::from_slice(&std::fs::read(format!("{t}{g}/truth.json")).unwrap()).unwrap();
  let cam=&truth["cameras"][ci];
  let mut b:Vec<u64>=vec![0]; b.extend(&series.cuts); b.push(film.frames());
  let mut tracks:Vec<Track>=b.windows(2).map(|w|{ let s:Vec<Sample>=series.samples.iter().filter(|s|s.frame>=w[0]&&s.frame<w[1]).copied().collect(); Track::of(&s,film.time(FrameNo(w[0])),film.time(FrameNo(w[1])),&series.whistles)}).collect();
  refer(&mut tracks);
  let mut pl:Vec<(&Track,f64)>=vec![]; let mut pt=vec![];
  for (k,tr) in tracks.iter().enumerate(){
   let sh=cam["shots"].as_array().unwrap().iter().find(|s|(s["start"].as_i64().unwrap()-b[k] as i64).abs()<4);
   let kind=sh.map_or("?".into(),|s|s["kind"].as_str().unwrap().to_string());
   let play=sh.and_then(|s|cam["plays"].as_array().unwrap().iter().find(|p|p["play"]==s["play"]));
   let dw=decode::decode(tr,&decode::WHETHER); let sf=snap::snap(tr);
   let truth_snap=play.map(|p|p["snap_time"].as_f64().unwrap()); 
   if mode.starts_with("shots"){ println!("{g} {c} {k} {kind} len {:.1} score {:.1} field {:.2} bad {:.2} E90 {:.4} con {:.2} margin {:.2} wh {} err {:.2}",tr.to-tr.from,dw.map_or(-99.0,|d|d.score),tr.field,tr.bad,percentile(&tr.energy,0.9),sf.map_or(0.0,|s|s.contrast),sf.map_or(0.0,|s|s.margin),tr.whistles.len(),match(truth_snap,sf){(Some(a),Some(b))=>b.time-a,_=>f64::NAN}); }
   if kind=="play"{ if let (Some(a),Some(s))=(truth_snap,sf){ errs.push((format!("{g} {c} shot {k} at {:.1} (lead {:.1})",tr.from,a-tr.from),s.time-a,s.contrast,s.margin,a-tr.from,dw.map_or(0.0,|d|d.score))); pl.push((tr,s.time)); pt.push((a,play.unwrap()["end_time"].as_f64().unwrap(),play.unwrap()["whistle_audible"].as_bool().unwrap())); } else {println!("{g} {c} {k} play without: {truth_snap:?} {sf:?}");}}
  }
  let (e,tail)=end::ends(&pl); 
  if mode.starts_with("end"){println!("{g} {c} tail {tail:?}");}
  for (((tr,_),t),e) in pl.iter().zip(&pt).zip(e){ if let Some(e)=e{ ends_err.push((e.time-t.1,e.whistle,e.belief)); if mode.starts_with("end"){ println!("  end err {:.2} whistle {:.2} belief {:.2} audible {} true tail {:.2} len {:.1} whistles {:?}",e.time-t.1,e.whistle,e.belief,t.2,tr.to-t.1,t.1-t.0,tr.whistles.iter().map(|w|(w.time-t.1,w.confidence)).collect::<Vec<_>>()); } } }
 }}
 let mut a:Vec<f64>=errs.iter().map(|e|e.1.abs()).collect(); a.sort_by(f64::total_cmp); let n=a.len().max(1);
 if mode.starts_with("snap"){for e in &errs{ if e.1.abs()>0.5{println!("{e:.2?}")}}}
 let mut sg:Vec<f64>=errs.iter().map(|e|e.1).collect(); sg.sort_by(f64::total_cmp);
 println!("snaps {n} within 1 s {:.3} within .3 {:.3} median {:.3} p95 {:.3} bias(median) {:.3}",a.iter().filter(|e|**e<=1.0).count() as f64/n as f64,a.iter().filter(|e|**e<=0.3).count() as f64/n as f64,a[n/2],a[n*95/100],sg[n/2]);
 let mut a:Vec<f64>=ends_err.iter().map(|e|e.0.abs()).collect(); a.sort_by(f64::total_cmp); let n=a.len().max(1);
 println!("ends {n} within 1 s {:.3} within .5 {:.3} median {:.3} p95 {:.3} bias {:.3}",a.iter().filter(|e|**e<=1.0).count() as f64/n as f64,a.iter().filter(|e|**e<=0.5).count() as f64/n as f64,a[n/2],a[n*95/100],ends_err.iter().map(|e|e.0).sum::<f64>()/n as f64);
}
