// development only: measure a film through the ffmpeg program
use downbox::base::*; use downbox::film::*; use downbox::sense;
use std::path::PathBuf; use downbox::media::Media;
fn cpu()->f64{let s=std::fs::read_to_string("/proc/self/stat").unwrap();let f:Vec<&str>=s.rsplit(')').next().unwrap().split_whitespace().collect();(f[11].parse::<f64>().unwrap()+f[12].parse::<f64>().unwrap())/100.0}
fn main(){
 let a:Vec<PathBuf>=std::env::args().skip(2).map(Into::into).collect();
 let pipe=Media::new().unwrap(); let film=pipe.read(&a,&Silent).unwrap();
 let c=cpu(); { let mut f=pipe.frames(&film,Decode::Exact,1).unwrap(); let mut n=0; if std::env::var_os("DEC").is_some(){ while f.next_frame().unwrap().is_some(){n+=1;} eprintln!("decode {n} {:.2}",cpu()-c);} } let c=cpu(); let series=sense::measure(&pipe,&film,&Silent).unwrap();
 eprintln!("{} frames {} samples {} whistles cpu {:.2} s = {:.3} ms/frame; cuts {:?}",film.frames(),series.samples.len(),series.whistles.len(),cpu()-c,(cpu()-c)*1e3/film.frames() as f64,series.cuts);
 let out=std::env::args().nth(1).unwrap();
 std::fs::write(out,serde_json::to_vec(&serde_json::json!({"film":film,"series":series})).unwrap()).unwrap();
}
