pub mod cycle { 
pub const BAND_WIDTH_K: f64 = 3.0; pub const FLOOR_C: f64 = 65.0;
pub struct SteamLimits; pub struct DisinfectionLimits{pub hold_s:f64,pub a0_s:f64}
impl SteamLimits { pub fn new(_a:f64,_b:f64)->Self{SteamLimits}}
impl DisinfectionLimits { pub fn new(a0_s:f64,_b:f64)->Self{DisinfectionLimits{hold_s:0.0,a0_s}}}
#[derive(serde::Serialize)] pub struct V; impl V { pub fn passed(&self)->bool{true}}
pub struct Record{pub time_s:Vec<f64>,pub ended_at_us:Option<i64>}
pub fn judge_steam(_r:&Record,_l:&SteamLimits)->Result<V,String>{Ok(V)}
pub fn judge_disinfection(_r:&Record,_l:&DisinfectionLimits)->V{V}
}
