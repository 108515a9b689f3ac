//! Our own authority: made once, kept in the data folder, and able to vouch for little. Its certificate says by name
//! constraints (RFC 5280, 4.2.1.10) that it stands only for the names it was made for, for names that exist on local
//! networks alone, and for private addresses: a device that trusts it is not open to a false bank. Private addresses are
//! all allowed, because a command post that moves gets another one, and devices should not have to trust anew for that.
//! Keys of servers are never written down: each start and each renewal makes a new one.

use std::{
    fs::{self, OpenOptions},
    io::Write as _,
    os::unix::fs::{DirBuilderExt as _, MetadataExt as _, OpenOptionsExt as _},
    path::{Path, PathBuf},
    sync::Arc,
    time::Duration,
};

use chrono::{DateTime, TimeDelta, Utc};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DnType, ExtendedKeyUsagePurpose, GeneralSubtree, IsCa,
    Issuer, KeyPair, KeyUsagePurpose, NameConstraints, SanType,
};
use rustls::{
    RootCertStore,
    client::{WebPkiServerVerifier, danger::ServerCertVerifier},
    pki_types::{CertificateDer, PrivateKeyDer, UnixTime, pem::PemObject},
    sign::CertifiedKey,
};
use time::OffsetDateTime;
use x509_parser::parse_x509_certificate;

use super::{TlsError, cryptography, name::Name, read_bounded};

/// How long the authority holds. Devices should have forgotten it long before.
const AUTHORITY_HOLDS: TimeDelta = TimeDelta::days(730);
/// How long a server's certificate holds: well below the 825 days that Apple's systems allow one from an authority that
/// their owner added (Apple's support article 103769, from memory).
const SERVER_HOLDS: TimeDelta = TimeDelta::days(90);
/// A device's clock may be this far behind ours.
const BACKDATED: TimeDelta = TimeDelta::days(2);
/// Before this day (2026-05-01) there was no laywire: a machine without a battery for its clock says so after a power cut.
const NEVER_BEFORE: i64 = 1_777_593_600;
/// Where the authority is kept in the data folder.
const FILE: &str = "authority.pem";

/// Names that exist on local networks alone: RFC 6761 (localhost), RFC 6762 (local), RFC 8375 (home.arpa), and
/// `internal`, which ICANN reserved for private use in 2024.
const LOCAL_NAMES: [&str; 4] = ["localhost", "local", "home.arpa", "internal"];
/// Addresses that no public host has: RFC 1918 (private), RFC 1122 (loopback), RFC 3927 and RFC 4291 (link-local), RFC 4193.
const LOCAL_ADDRESSES: [([u8; 4], u8); 5] = [
    ([10, 0, 0, 0], 8),
    ([172, 16, 0, 0], 12),
    ([192, 168, 0, 0], 16),
    ([169, 254, 0, 0], 16),
    ([127, 0, 0, 0], 8),
];
const LOCAL_ADDRESSES_6: [(u128, u8); 3] = [(0xfc00 << 112, 7), (0xfe80 << 112, 10), (1, 128)];

/// The authority, with its key.
pub struct Authority {
    file: PathBuf,
    certificate: CertificateDer<'static>,
    issuer: Issuer<'static, KeyPair>,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
}

impl Authority {
    /// The one in the folder; made for these names when there is none yet.
    ///
    /// # Errors
    /// When it cannot be written, read or used, with what to do about it.
    pub fn open(folder: &Path, names: &[Name], now: DateTime<Utc>) -> Result<Self, TlsError> {
        let file = folder.join(FILE);
        match file.try_exists() {
            Ok(true) => {}
            Ok(false) => keep(folder, &file, &make(names, now)?)?,
            Err(error) => return Err(TlsError::File { path: file, error }),
        }
        Self::load(file)
    }

    fn load(file: PathBuf) -> Result<Self, TlsError> {
        let read = read_bounded(&file)?;
        let mode = fs::metadata(&file).map_err(|error| TlsError::File { path: file.clone(), error })?.mode();
        if mode & 0o077 != 0 {
            return Err(TlsError::OpenToOthers { path: file });
        }
        let damaged = || TlsError::Damaged { path: file.clone() };
        let certificate = CertificateDer::from_pem_slice(&read).map_err(|_| damaged())?;
        let key = PrivateKeyDer::from_pem_slice(&read).map_err(|_| damaged())?;
        let key = KeyPair::try_from(&key).map_err(|_| damaged())?;
        let (_, parsed) = parse_x509_certificate(&certificate).map_err(|_| damaged())?;
        if parsed.public_key().subject_public_key.data.as_ref() != key.public_key_raw() {
            return Err(damaged());
        }
        let (from, until) = validity(&parsed).ok_or_else(damaged)?;
        let issuer = Issuer::from_ca_cert_der(&certificate, key).map_err(|_| damaged())?;
        Ok(Self { file, certificate, issuer, from, until })
    }

    /// What devices have to trust.
    #[must_use]
    pub fn certificate(&self) -> &CertificateDer<'static> {
        &self.certificate
    }

    /// When its time is over.
    #[must_use]
    pub fn until(&self) -> DateTime<Utc> {
        self.until
    }

    /// A new server's certificate for these names, checked as a device checks it, and when the next one is due: when
    /// two thirds of its time are over.
    ///
    /// # Errors
    /// When the authority's time is over, or it may not vouch for a name.
    pub fn issue(
        &self,
        names: &[Name],
        now: DateTime<Utc>,
    ) -> Result<(CertifiedKey, DateTime<Utc>), TlsError> {
        if now < self.from || now >= self.until {
            let (path, from, until) = (self.file.clone(), self.from, self.until);
            return Err(TlsError::AuthorityEnded { path, from, until, now });
        }
        let until = self.until.min(now + SERVER_HOLDS);
        let key = self.sign(names, now, until)?;
        if self.check(&key, names, now).is_err() {
            let alone = |name: &&Name| {
                let one = std::slice::from_ref(*name);
                self.sign(one, now, until).and_then(|key| self.check(&key, one, now)).is_err()
            };
            let path = self.file.clone();
            return Err(match names.iter().find(alone) {
                Some(name) => TlsError::OutsideAuthority { path, name: name.clone() },
                None => TlsError::Damaged { path },
            });
        }
        Ok((key, now + (until - now) * 2 / 3))
    }

    fn sign(
        &self,
        names: &[Name],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Result<CertifiedKey, TlsError> {
        let pair = KeyPair::generate()?;
        let mut leaf = CertificateParams::default();
        leaf.not_before = moment(self.from.max(now - BACKDATED))?;
        leaf.not_after = moment(until)?;
        leaf.distinguished_name = rcgen::DistinguishedName::new();
        leaf.distinguished_name.push(DnType::CommonName, "laywire");
        leaf.subject_alt_names = names.iter().map(alternative).collect::<Result<_, _>>()?;
        leaf.is_ca = IsCa::ExplicitNoCa;
        leaf.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        leaf.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        leaf.use_authority_key_identifier_extension = true;
        let signed = leaf.signed_by(&pair, &self.issuer)?;
        let key = PrivateKeyDer::try_from(pair.serialize_der())
            .map_err(|error| TlsError::NotMade(error.to_owned()))?;
        Ok(CertifiedKey::from_der(vec![signed.into()], key, &cryptography())?)
    }

    /// Checks a certificate as a device does that trusts this authority and no other.
    fn check(&self, key: &CertifiedKey, names: &[Name], now: DateTime<Utc>) -> Result<(), TlsError> {
        let mut roots = RootCertStore::empty();
        roots.add(self.certificate.clone())?;
        let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), cryptography())
            .build()
            .map_err(|error| TlsError::NotMade(error.to_string()))?;
        let since = Duration::from_secs(now.timestamp().try_into().unwrap_or_default());
        let leaf = key.end_entity_cert()?;
        for name in names {
            verifier.verify_server_cert(leaf, &[], &name.asked(), &[], UnixTime::since_unix_epoch(since))?;
        }
        Ok(())
    }
}

/// A new authority as PEM: its certificate and its key.
fn make(names: &[Name], now: DateTime<Utc>) -> Result<String, TlsError> {
    if now.timestamp() < NEVER_BEFORE {
        return Err(TlsError::ClockWrong { now });
    }
    let pair = KeyPair::generate()?;
    let mut authority = CertificateParams::default();
    authority.not_before = moment(now - BACKDATED)?;
    authority.not_after = moment(now + AUTHORITY_HOLDS)?;
    authority.distinguished_name = rcgen::DistinguishedName::new();
    // By this a person finds it on the device again, to remove it. X.520 allows 64 letters.
    let first: String = names.first().map(Name::to_string).unwrap_or_default().chars().take(32).collect();
    let common = format!("laywire of {first}, {}", now.format("%Y-%m-%d"));
    authority.distinguished_name.push(DnType::CommonName, common);
    authority.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    authority.key_usages = vec![KeyUsagePurpose::KeyCertSign];
    authority.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    authority.name_constraints =
        Some(NameConstraints { permitted_subtrees: permitted(names), excluded_subtrees: Vec::new() });
    let certificate = authority.self_signed(&pair)?;
    Ok(format!("{}{}", certificate.pem(), pair.serialize_pem()))
}

fn permitted(names: &[Name]) -> Vec<GeneralSubtree> {
    let own = Name::of_this_machine();
    let given = names.iter().filter(|name| !own.contains(name)).map(|name| match name {
        Name::Host(host) => GeneralSubtree::DnsName(host.as_ref().to_owned()),
        Name::Address(address) => {
            let whole = if address.is_ipv4() { 32 } else { 128 };
            GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(*address, whole))
        }
    });
    let hosts = LOCAL_NAMES.iter().map(|name| GeneralSubtree::DnsName((*name).to_owned()));
    let four = LOCAL_ADDRESSES.iter().map(|(start, prefix)| CidrSubnet::from_v4_prefix(*start, *prefix));
    let six = LOCAL_ADDRESSES_6
        .iter()
        .map(|(start, prefix)| CidrSubnet::from_v6_prefix(start.to_be_bytes(), *prefix));
    given.chain(hosts).chain(four.chain(six).map(GeneralSubtree::IpAddress)).collect()
}

fn alternative(name: &Name) -> Result<SanType, TlsError> {
    Ok(match name {
        Name::Host(host) => SanType::DnsName(host.as_ref().try_into()?),
        Name::Address(address) => SanType::IpAddress(*address),
    })
}

/// Writes the authority for its owner alone, whole or not at all. When another process was first, its authority stands.
fn keep(folder: &Path, file: &Path, pem: &str) -> Result<(), TlsError> {
    let failed = |error| TlsError::File { path: file.to_owned(), error };
    fs::DirBuilder::new().recursive(true).mode(0o711).create(folder).map_err(failed)?;
    let fresh = folder.join(format!("{FILE}.{}", uuid::Uuid::now_v7()));
    let written = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&fresh)
        .and_then(|mut new| new.write_all(pem.as_bytes()).and_then(|()| new.sync_all()))
        .and_then(|()| match fs::hard_link(&fresh, file) {
            Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(error),
            _ => Ok(()),
        });
    let removed = fs::remove_file(&fresh);
    written.and(removed).map_err(failed)
}

/// The time that a certificate holds.
pub(super) fn validity(
    certificate: &x509_parser::certificate::X509Certificate<'_>,
) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let holds = certificate.validity();
    let at = |seconds| DateTime::from_timestamp(seconds, 0);
    Some((at(holds.not_before.timestamp())?, at(holds.not_after.timestamp())?))
}

fn moment(at: DateTime<Utc>) -> Result<OffsetDateTime, TlsError> {
    OffsetDateTime::from_unix_timestamp(at.timestamp()).map_err(|error| TlsError::NotMade(error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(all: &[&str]) -> Vec<Name> {
        all.iter().map(|name| name.parse().unwrap()).collect()
    }

    fn now() -> DateTime<Utc> {
        DateTime::from_timestamp(1_790_000_000, 0).unwrap()
    }

    #[test]
    fn the_authority_vouches_for_its_names_and_for_what_is_never_public() {
        let folder = tempfile::tempdir().unwrap();
        let authority =
            Authority::open(folder.path(), &names(&["wire.example", "203.0.113.7"]), now()).unwrap();
        for good in
            ["wire.example", "a.wire.example", "203.0.113.7", "localhost", "post.local", "post.home.arpa"]
        {
            authority.issue(&names(&[good]), now()).unwrap();
        }
        for good in
            ["10.9.8.7", "172.31.0.1", "192.168.8.2", "169.254.1.1", "127.0.0.1", "::1", "fd00::2", "fe80::2"]
        {
            authority.issue(&names(&[good]), now()).unwrap();
        }
        for bad in [
            "bank.example",
            "example",
            "wire.example.org",
            "203.0.113.8",
            "172.32.0.1",
            "192.169.0.1",
            "2001:db8::1",
        ] {
            let refused = authority.issue(&names(&["wire.example", bad]), now()).err();
            let Some(TlsError::OutsideAuthority { name, .. }) = &refused else {
                panic!("{bad}: {refused:?}")
            };
            assert_eq!(*name, bad.parse().unwrap());
        }
    }

    #[test]
    fn a_certificate_is_due_at_two_thirds_of_its_time_and_never_outlives_the_authority() {
        let folder = tempfile::tempdir().unwrap();
        let all = names(&["wire.example"]);
        let authority = Authority::open(folder.path(), &all, now()).unwrap();
        let held = |at: DateTime<Utc>| {
            let (key, due) = authority.issue(&all, at).unwrap();
            let leaf = key.cert[0].clone();
            let (_, parsed) = parse_x509_certificate(&leaf).unwrap();
            (validity(&parsed).unwrap(), due)
        };
        let ((from, until), due) = held(now());
        assert_eq!((until - now(), due - now()), (TimeDelta::days(90), TimeDelta::days(60)));
        assert_eq!(now() - from, TimeDelta::days(2), "a device's clock may be behind");
        let late = authority.until() - TimeDelta::days(30);
        let ((_, until), due) = held(late);
        assert_eq!((until, due), (authority.until(), late + TimeDelta::days(20)));
        for outside in [authority.until(), now() - TimeDelta::days(3)] {
            let refused = authority.issue(&all, outside).err();
            assert!(matches!(refused, Some(TlsError::AuthorityEnded { .. })), "{refused:?}");
        }
    }

    #[test]
    fn no_authority_is_made_by_a_clock_that_lost_the_time() {
        let folder = tempfile::tempdir().unwrap();
        let refused = Authority::open(folder.path(), &names(&["wire.example"]), DateTime::UNIX_EPOCH).err();
        assert!(matches!(refused, Some(TlsError::ClockWrong { .. })), "{refused:?}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn the_authority_is_made_once_and_read_by_its_owner_alone() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let open = |name: &str| Authority::open(folder.path(), &names(&[name]), now());
        let first = open("wire.example").unwrap();
        assert_eq!(open("post.local").unwrap().certificate(), first.certificate());
        let file = folder.path().join(FILE);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing else is left behind");
        assert_eq!(fs::metadata(&file).unwrap().mode() & 0o777, 0o600);
        let pem = fs::read_to_string(&file).unwrap();
        keep(folder.path(), &file, &make(&names(&["late.example"]), now()).unwrap()).unwrap();
        assert_eq!(fs::read_to_string(&file).unwrap(), pem, "whoever comes second takes the first one's");

        fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).unwrap();
        assert!(matches!(open("wire.example").err(), Some(TlsError::OpenToOthers { .. })));
        fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
        let other = make(&names(&["wire.example"]), now()).unwrap();
        let key = |pem: &str| pem[pem.find("-----BEGIN PRIVATE").unwrap()..].to_owned();
        let certificate = pem.replace(&key(&pem), "");
        for broken in
            [String::new(), certificate.clone(), key(&pem), certificate + &key(&other), "x".repeat(1 << 20)]
        {
            fs::write(&file, &broken).unwrap();
            assert!(
                matches!(open("wire.example").err(), Some(TlsError::Damaged { .. })),
                "{} bytes",
                broken.len()
            );
        }
        fs::write(&file, "x".repeat((1 << 20) + 1)).unwrap();
        assert!(matches!(open("wire.example").err(), Some(TlsError::TooLarge { .. })));
    }
}
