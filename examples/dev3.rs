use plateproof::image::open::*; use plateproof::image::limits::Limits; use plateproof::camera::*; use plateproof::sphere::*;
fn main(){ for p in std::env::args().skip(1) { let path=std::path::PathBuf::from(&p);
 let f=open(&OpenRequest{path:&path,shown_as:&p,role:"x",encoding:None,colour_space:None,layer:None,clip_level:None,want_alpha:false,limits:&Limits::default()}).unwrap();
 let v=View::from_horizontal_fov(f.size,f.pixel_aspect,PARALLEL_FOV_DEG,FovSource::Parallel);
 println!("{p}"); find::debug::contours(&f,&v); if let Ok(c)=std::env::var("C"){let c:Vec<f64>=c.split(',').map(|x|x.parse().unwrap()).collect(); find::debug::levels(&f,&v,[c[0],c[1],c[2]]);} match find::find_sphere(&f,&v){Ok(s)=>println!("  FOUND {:.2?} score {:.2} unseen {:.2} rivals {}",s.best.outline.to_array(),s.best.score,s.best.unseen_fraction,s.rivals.len()),Err(e)=>println!("  {e}")}
}}
