//! Who is inside: how many connections at a time, of whom, and who goes when another comes.
//!
//! A connection comes in as nobody, becomes a bearer when its head has shown the token, or else a stranger, and goes
//! when it is answered. Each of the three has a share of its own, so that however many come without the token, there is
//! room for who has it. Where the share of the unread or of strangers is full, the oldest goes: one that means it is
//! read within milliseconds. No address takes more than half of the unread.
//!
//! Of an unread one that goes nothing more is received; what it has sent already is still read, so that a bearer whose
//! head waited only for this machine's processors is answered all the same.

use std::net::{IpAddr, Shutdown, TcpStream};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The shares.
#[derive(Clone, Copy, Debug)]
pub struct Shares {
    /// Connections whose head is not read yet.
    pub unread: usize,
    /// Of which of one address.
    pub unread_of_one: usize,
    /// Connections without the token that are being answered.
    pub strangers: usize,
    /// Connections with the token.
    pub bearers: usize,
}

impl Default for Shares {
    fn default() -> Self {
        Self { unread: 32, unread_of_one: 16, strangers: 16, bearers: 48 }
    }
}

/// What is known of a connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Standing {
    Unread,
    /// An unread one that has to go: what it has sent already is still read.
    Leaving,
    Stranger,
    Bearer,
}

#[derive(Debug)]
struct Guest {
    number: u64,
    address: IpAddr,
    standing: Standing,
    stream: TcpStream,
}

#[derive(Debug, Default)]
struct Inside {
    next: u64,
    /// The oldest first.
    guests: Vec<Guest>,
}

/// All of them.
#[derive(Debug)]
pub struct Doors {
    shares: Shares,
    inside: Mutex<Inside>,
}

/// A place inside, until it is dropped.
#[derive(Debug)]
pub struct Place<'a> {
    doors: &'a Doors,
    number: u64,
}

impl Inside {
    fn count(&self, of: impl Fn(&Guest) -> bool) -> usize {
        self.guests.iter().filter(|guest| of(guest)).count()
    }

    /// Makes the oldest of some go. One that has gone by itself is closed already.
    fn close(&mut self, of: impl Fn(&Guest) -> bool) {
        let Some(at) = self.guests.iter().position(of) else { return };
        match self.guests.get_mut(at) {
            Some(guest) if guest.standing == Standing::Unread => {
                guest.standing = Standing::Leaving;
                let _ = guest.stream.shutdown(Shutdown::Read);
            }
            _ => {
                let _ = self.guests.remove(at).stream.shutdown(Shutdown::Both);
            }
        }
    }
}

impl Doors {
    /// With these shares.
    #[must_use]
    pub fn new(shares: Shares) -> Self {
        Self { shares, inside: Mutex::default() }
    }

    fn inside(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Lets a connection in; the oldest unread one goes where there are too many.
    ///
    /// # Errors
    /// What the system says where it has no handle left.
    pub fn enter(&self, stream: &TcpStream, address: IpAddr) -> std::io::Result<Place<'_>> {
        let stream = stream.try_clone()?;
        let mut inside = self.inside();
        let of_it = |guest: &Guest| guest.standing == Standing::Unread && guest.address == address;
        if inside.count(of_it) >= self.shares.unread_of_one {
            inside.close(of_it);
        }
        let unread = |guest: &Guest| guest.standing == Standing::Unread;
        if inside.count(unread) >= self.shares.unread {
            inside.close(unread);
        }
        let number = inside.next;
        inside.next += 1;
        inside.guests.push(Guest { number, address, standing: Standing::Unread, stream });
        Ok(Place { doors: self, number })
    }

    /// Makes room for one more handle: the oldest that has shown nothing goes.
    pub fn make_room(&self) {
        self.inside().close(|guest| matches!(guest.standing, Standing::Unread | Standing::Stranger));
    }
}

impl Place<'_> {
    /// The head is read. False where the bearers' share is full, and for a stranger that had to go meanwhile.
    #[must_use]
    pub fn read(&self, is_bearer: bool) -> bool {
        let mut inside = self.doors.inside();
        let shares = self.doors.shares;
        let stranger = |guest: &Guest| guest.standing == Standing::Stranger;
        let standing = if is_bearer {
            if inside.count(|guest| guest.standing == Standing::Bearer) >= shares.bearers {
                return false;
            }
            Standing::Bearer
        } else {
            if inside.count(|guest| guest.number == self.number && guest.standing == Standing::Leaving) > 0 {
                return false;
            }
            if inside.count(stranger) >= shares.strangers {
                inside.close(stranger);
            }
            Standing::Stranger
        };
        let own = inside.guests.iter_mut().find(|guest| guest.number == self.number);
        own.map(|guest| guest.standing = standing).is_some()
    }
}

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.doors.inside().guests.retain(|guest| guest.number != self.number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Read as _, Write as _};
    use std::net::{Ipv4Addr, TcpListener};

    /// Both ends of a connection.
    fn pair(listener: &TcpListener) -> (TcpStream, TcpStream) {
        let out = TcpStream::connect(listener.local_addr().unwrap()).unwrap();
        (listener.accept().unwrap().0, out)
    }

    fn is_closed(stream: &mut TcpStream) -> bool {
        stream.set_nonblocking(true).unwrap();
        matches!(stream.read(&mut [0]), Ok(0))
    }

    #[test]
    fn the_oldest_unread_goes_and_the_bearers_stay() {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let doors = Doors::new(Shares { unread: 4, unread_of_one: 3, strangers: 2, bearers: 2 });
        let address = |last: u8| IpAddr::V4(Ipv4Addr::new(10, 0, 0, last));
        let mut all: Vec<(TcpStream, TcpStream)> = (0..8).map(|_| pair(&listener)).collect();
        let enter = |i: usize, last: u8| doors.enter(&all[i].0, address(last)).unwrap();
        let bearer = enter(0, 1);
        assert!(bearer.read(true));
        // Three of one address; the fourth takes the place of its oldest.
        let _of_one: Vec<Place<'_>> = (1..5).map(|i| enter(i, 2)).collect();
        // One of another address fills the share, the next takes the place of the oldest of all.
        let others = [enter(5, 3), enter(6, 4)];
        // Strangers: the third takes the place of the first.
        assert!(others[0].read(false) && others[1].read(false));
        let third = enter(7, 5);
        assert!(third.read(false));
        assert!(!_of_one[0].read(false), "one that had to go has no place");
        // The unread ones that had to go are received no more, a stranger is closed.
        let ended: Vec<bool> = all.iter_mut().map(|(inner, _)| is_closed(inner)).collect();
        assert_eq!(ended, [false, true, true, false, false, true, false, false]);
        let closed: Vec<bool> = all.iter_mut().map(|(_, out)| is_closed(out)).collect();
        assert_eq!(closed, [false, false, false, false, false, true, false, false]);
        drop((bearer, _of_one, others, third));
        assert!(doors.inside().guests.is_empty());
    }

    #[test]
    fn bearers_have_a_share_of_their_own_and_no_more() {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let doors = Doors::new(Shares { unread: 2, unread_of_one: 2, strangers: 1, bearers: 2 });
        let all: Vec<(TcpStream, TcpStream)> = (0..3).map(|_| pair(&listener)).collect();
        let places: Vec<Place<'_>> =
            all.iter().map(|(stream, _)| doors.enter(stream, Ipv4Addr::LOCALHOST.into()).unwrap()).collect();
        // The first had to go for the third; it has shown the token all the same, and two is all there is room for.
        let read: Vec<bool> = places.iter().map(|place| place.read(true)).collect();
        assert_eq!(read, [true, true, false]);
        let (more, _out) = pair(&listener);
        assert!(!doors.enter(&more, Ipv4Addr::LOCALHOST.into()).unwrap().read(true));
    }

    /// Its head lay in the socket before the others came, and this machine had not got round to it.
    #[test]
    fn a_bearer_that_was_kept_waiting_is_answered() {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let doors = Doors::new(Shares { unread: 2, unread_of_one: 2, strangers: 1, bearers: 2 });
        let mut all: Vec<(TcpStream, TcpStream)> = (0..5).map(|_| pair(&listener)).collect();
        all[0].1.write_all(b"head").unwrap();
        let places: Vec<Place<'_>> =
            all.iter().map(|(stream, _)| doors.enter(stream, Ipv4Addr::LOCALHOST.into()).unwrap()).collect();
        let (inner, out) = &mut all[0];
        let mut head = [0; 4];
        inner.read_exact(&mut head).unwrap();
        assert!(&head == b"head" && places[0].read(true));
        inner.write_all(b"answer").unwrap();
        let mut answer = [0; 6];
        out.read_exact(&mut answer).unwrap();
        assert_eq!(&answer, b"answer");
    }
}
