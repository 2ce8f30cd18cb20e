use downbox::base::*; use downbox::film::*; use downbox::sense; use std::io::Read; use std::path::PathBuf;
struct Raw{path:String} struct Fr{f:std::io::BufReader<std::fs::File>,film:Film,no:u64,buf:Vec<u8>}
impl FrameSource for Fr{ fn next_frame(&mut self)->Result<Option<PictureView<'_>>>{ if self.f.read_exact(&mut self.buf).is_err(){return Ok(None)} let no=FrameNo(self.no); self.no+=1; let (y,c)=self.buf.split_at(240*135); let (u,v)=c.split_at(120*68);
 Ok(Some(PictureView{no,time:self.film.time(no),width:240,height:135,planes:[y,u,v],strides:[240,120,120],color:Color::default(),damaged:false}))} fn seek(&mut self,_:FrameNo)->Result<()>{Ok(())}}
impl FilmReader for Raw{ fn read(&self,_:&[PathBuf],_:&dyn Progress)->Result<Film>{Ok(Film::default())}
 fn frames<'a>(&self,film:&'a Film,_:Decode,_:usize)->Result<Box<dyn FrameSource+Send+'a>>{Ok(Box::new(Fr{f:std::io::BufReader::with_capacity(1<<20,std::fs::File::open(&self.path).unwrap()),film:film.clone(),no:0,buf:vec![0;240*135+2*120*68]}))}
 fn sound<'a>(&self,_:&'a Film,_:u32,_:usize)->Result<Option<Box<dyn SoundSource+Send+'a>>>{Ok(None)} }
fn main(){ let t="/work/wt/films/tune/"; let out=std::env::args().nth(1).unwrap(); std::fs::create_dir_all(format!("{t}{out}")).unwrap();
 for g in std::env::args().skip(2){ for c in ["sideline","end-zone"]{ let Ok(b)=std::fs::read(format!("{t}s/{g}-{c}.json")) else{continue}; let mut d:serde_json::Value=serde_json::from_slice(&b).unwrap();
  let film:Film=serde_json::from_value(d["film"].clone()).unwrap(); let old:Series=serde_json::from_value(d["series"].clone()).unwrap();
  let mut s=sense::measure(&Raw{path:format!("{t}raw/{g}-{c}.yuv")},&film,&Silent).unwrap(); s.whistles=old.whistles; s.sound=true; d["series"]=serde_json::to_value(&s).unwrap();
  let truth:serde_json::Value=serde_json::from_slice(&std::fs::read(format!("{t}{g}/truth.json")).unwrap()).unwrap();
  let tc:Vec<u64>=serde_json::from_value(truth["cameras"][if c=="sideline"{0}else{1}]["cuts"].clone()).unwrap();
  let fp:Vec<_>=s.cuts.iter().filter(|c|!tc.iter().any(|t|t.abs_diff(**c)<=2)).collect(); let fne:Vec<_>=tc.iter().filter(|c|!s.cuts.iter().any(|t|t.abs_diff(**c)<=2)).collect();
  if !fp.is_empty()||!fne.is_empty(){println!("{g} {c} false {fp:?} missed {fne:?}");}
  std::fs::write(format!("{t}{out}/{g}-{c}.json"),serde_json::to_vec(&d).unwrap()).unwrap(); }} }
