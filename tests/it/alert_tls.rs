//! Alerts through TLS: a receiver is believed only by its certificate.

use std::sync::Arc;

use fettle::web::webhook::{Reach, deliver};
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio_rustls::rustls::{RootCertStore, ServerConfig, crypto};

use super::alert_sent::{Got, log, missing, telling, until};
use super::served::{Kind, Served};

#[tokio::test(flavor = "multi_thread")]
async fn a_receiver_is_believed_by_its_certificate_alone() {
    let own = rcgen::generate_simple_self_signed(vec!["localhost".to_string()]).expect("a certificate");
    let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(own.signing_key.serialize_der()));
    let config = ServerConfig::builder_with_provider(Arc::new(crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .expect("versions")
        .with_no_client_auth()
        .with_single_cert(vec![own.cert.der().clone()], key)
        .expect("a key");
    let acceptor = TlsAcceptor::from(Arc::new(config));
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let receiver = tokio::spawn(async move {
        loop {
            let (stream, _) = listener.accept().await.expect("a connection");
            // Whoever does not believe the certificate goes away.
            let Ok(mut stream) = acceptor.accept(stream).await else { continue };
            let got = Got::read(&mut stream).await;
            stream.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n").await.expect("an answer");
            stream.shutdown().await.expect("an end");
            return got;
        }
    });
    let mut believed = RootCertStore::empty();
    believed.add(own.cert.der().clone()).expect("a certificate");
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    telling(&served, &format!("https://localhost:{port}/hook")).await;
    missing(&served).await;
    let begun = served.house.clock.now();
    let strict = Arc::new(Reach::new(Vec::new(), true, RootCertStore::empty()).expect("a way"));
    let sending = tokio::spawn(deliver(served.house.clone(), strict));
    until("a try", || async { !log(&served).await[0]["attempts"].as_array().unwrap().is_empty() }).await;
    let told = log(&served).await[0].clone();
    assert!(told["attempts"][0]["told"].as_str().unwrap().starts_with("TLS could not be agreed: "), "{told}");
    sending.abort();
    let knowing = Arc::new(Reach::new(Vec::new(), true, believed).expect("a way"));
    served.house.clock.set(begun.plus_minutes(1));
    let sending = tokio::spawn(deliver(served.house.clone(), knowing));
    let got = receiver.await.expect("a request");
    assert_eq!(got.line.trim_end(), "POST /hook HTTP/1.1");
    assert_eq!(got.named("host"), format!("localhost:{port}"));
    until("its end", || async { log(&served).await[0]["status"] == "done" }).await;
    sending.abort();
    served.stop().await;
}
