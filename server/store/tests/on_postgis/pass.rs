//! Passes: found by the hash of their secret until they are revoked.

use laywire_craft::{ids::PassId, party::Party};
use laywire_store::{
    StoreError,
    listener::{Heard, Listener},
    pass,
};
use uuid::Uuid;

use crate::ground::{Ground, now, sender};

#[tokio::test]
async fn a_revoked_pass_is_not_found_and_every_process_hears_of_it() {
    let ground = Ground::new().await;
    let holder = sender(Party::LeadTeam, "Lead 1");
    let (secret, other) = ([7; 32], [8; 32]);
    let given = pass::give(&ground.pool, ground.operation, &holder, &secret, now()).await.unwrap();
    let found = pass::with_secret(&ground.pool, &secret).await.unwrap().unwrap();
    assert_eq!((found.id, found.operation, found.holder), (given.id, ground.operation, holder));
    assert_eq!(pass::with_secret(&ground.pool, &other).await.unwrap(), None);

    let mut listener = Listener::start(&ground.pool).await.unwrap();
    assert!(pass::revoke(&ground.pool, ground.operation, given.id, now()).await.unwrap());
    assert_eq!(listener.next().await.unwrap(), Heard::Pass);
    assert_eq!(pass::with_secret(&ground.pool, &secret).await.unwrap(), None);

    let first = pass::all(&ground.pool, ground.operation).await.unwrap()[0].revoked_at;
    assert!(first.is_some());
    assert!(pass::revoke(&ground.pool, ground.operation, given.id, now()).await.unwrap());
    let second = pass::all(&ground.pool, ground.operation).await.unwrap()[0].revoked_at;
    assert_eq!(first, second, "a pass keeps the time when it was first revoked");
    assert!(!pass::revoke(&ground.pool, ground.operation, PassId(Uuid::now_v7()), now()).await.unwrap());
}

#[tokio::test]
async fn a_call_sign_belongs_to_one_party_while_its_pass_holds() {
    let ground = Ground::new().await;
    let lead = sender(Party::LeadTeam, "Kestrel");
    let follow = sender(Party::FollowUpTeam, "Kestrel");
    let first = pass::give(&ground.pool, ground.operation, &lead, &[1; 32], now()).await.unwrap();
    // A second device of the same team.
    pass::give(&ground.pool, ground.operation, &lead, &[2; 32], now()).await.unwrap();
    let refused = pass::give(&ground.pool, ground.operation, &follow, &[3; 32], now()).await;
    assert!(matches!(refused, Err(StoreError::CallSignInUse { team }) if team == "Kestrel"));
    assert_eq!(pass::with_secret(&ground.pool, &[3; 32]).await.unwrap(), None);
    for pass in pass::all(&ground.pool, ground.operation).await.unwrap() {
        pass::revoke(&ground.pool, ground.operation, pass.id, now()).await.unwrap();
    }
    assert_ne!(
        pass::give(&ground.pool, ground.operation, &follow, &[4; 32], now()).await.unwrap().id,
        first.id
    );
}
