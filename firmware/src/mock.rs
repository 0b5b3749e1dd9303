//! A bus for tests that plays a script of literal bytes.

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use std::vec::Vec;

/// One expected transfer.
#[derive(Clone, Debug)]
pub struct Act {
    address: u8,
    written: Vec<u8>,
    answer: Option<Vec<u8>>,
    error: Option<ErrorKind>,
}

impl Act {
    /// A write of `bytes`.
    pub fn write(address: u8, bytes: &[u8]) -> Self {
        Self { address, written: bytes.to_vec(), answer: None, error: None }
    }

    /// A read that gives `bytes`.
    pub fn read(address: u8, bytes: &[u8]) -> Self {
        Self { address, written: Vec::new(), answer: Some(bytes.to_vec()), error: None }
    }

    /// A write of `register` and a read that gives `bytes`.
    pub fn write_read(address: u8, register: u8, bytes: &[u8]) -> Self {
        Self { address, written: vec![register], answer: Some(bytes.to_vec()), error: None }
    }

    /// The same, not acknowledged.
    pub fn nack(mut self) -> Self {
        self.error = Some(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        self
    }

    /// The same, failing as a held bus does.
    pub fn held(mut self) -> Self {
        self.error = Some(ErrorKind::Bus);
        self
    }
}

/// The bus.
pub struct Script {
    acts: Vec<Act>,
    at: usize,
}

impl Script {
    /// A bus that expects `acts` in order.
    pub fn new(acts: &[Act]) -> Self {
        Self { acts: acts.to_vec(), at: 0 }
    }

    /// Everything was played.
    pub fn done(&self) {
        assert_eq!(self.at, self.acts.len(), "transfers left over");
    }
}

impl ErrorType for Script {
    type Error = ErrorKind;
}

impl I2c for Script {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let act = self.acts.get(self.at).cloned().expect("a transfer too many");
        self.at += 1;
        assert_eq!(address, act.address);
        if let Some(error) = act.error {
            return Err(error);
        }
        let mut written = Vec::new();
        let mut answer = act.answer;
        for operation in operations {
            match operation {
                Operation::Write(bytes) => written.extend_from_slice(bytes),
                Operation::Read(bytes) => bytes.copy_from_slice(&answer.take().expect("a read")),
            }
        }
        assert_eq!(written, act.written);
        assert!(answer.is_none(), "a read was expected");
        Ok(())
    }
}
