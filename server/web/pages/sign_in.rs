use axum::response::{IntoResponse,Response};
pub async fn get() -> Response { "sign in".into_response() }
pub fn page(_s:&str,_p:&str,_b:&str,_e:Option<&str>) -> Response { "sign in".into_response() }
