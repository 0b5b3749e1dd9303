//! Serial lines that never wait: what does not fit into the hardware's queue stays with the caller.

use core::convert::Infallible;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use rp2040_pac as pac;

/// A UART; both blocks have the same registers.
pub struct Uart {
    block: &'static pac::uart0::RegisterBlock,
    /// The pin that switches a line driver on while bytes go out; 0 if there is none.
    drive: u32,
}

impl Uart {
    /// The link, UART0 at 115 200 baud: 125 MHz / 16 / 115 200 = 67 + 52/64.
    pub fn link() -> Self {
        crate::pins::to_uart(0);
        crate::pins::to_uart(1);
        // SAFETY: UART0 is used through this value only.
        Self::new(unsafe { &*pac::UART0::ptr() }, 67, 52)
    }

    /// The line between box and top, UART1 at 57 600 baud: 125 MHz / 16 / 57 600 = 135 + 41/64. GP7 is high while bytes go out,
    /// and low again at the first look after the last has gone.
    #[cfg(feature = "top")]
    pub fn between() -> Self {
        let _ = crate::pins::Output::new(7);
        crate::pins::to_uart(8);
        crate::pins::to_uart(9);
        // SAFETY: UART1 is used through this value only.
        Self { drive: 1 << 7, ..Self::new(unsafe { &*pac::UART1::ptr() }, 135, 41) }
    }

    #[cfg(feature = "log")]
    /// The log, UART1 at 921 600 baud: 125 MHz / 16 / 921 600 = 8 + 31/64.
    pub fn log() -> Self {
        crate::pins::to_uart(8);
        // SAFETY: UART1 is used through this value only.
        Self::new(unsafe { &*pac::UART1::ptr() }, 8, 31)
    }

    fn new(block: &'static pac::uart0::RegisterBlock, whole: u16, part: u8) -> Self {
        // SAFETY: any divisor is valid; 3 is eight bits.
        unsafe {
            block.uartibrd().write(|w| w.baud_divint().bits(whole));
            block.uartfbrd().write(|w| w.baud_divfrac().bits(part));
            block.uartlcr_h().write(|w| w.wlen().bits(3).fen().set_bit());
        }
        block.uartcr().write(|w| w.uarten().set_bit().txe().set_bit().rxe().set_bit());
        Self { block, drive: 0 }
    }

    /// A received byte, if there is one.
    pub fn take(&mut self) -> Option<u8> {
        let waiting = self.block.uartfr().read().rxfe().bit_is_clear();
        waiting.then(|| self.block.uartdr().read().data().bits())
    }

    /// Queues a byte to send, if there is room.
    pub fn put(&mut self, byte: u8) -> bool {
        let room = self.block.uartfr().read().txff().bit_is_clear();
        if room {
            if cfg!(feature = "top") && self.drive != 0 {
                crate::pins::drive(self.drive, true);
            }
            // SAFETY: any byte is valid data.
            self.block.uartdr().write(|w| unsafe { w.data().bits(byte) });
        }
        room
    }
}

impl ErrorType for Uart {
    type Error = Infallible;
}

impl ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        let flags = self.block.uartfr().read();
        // Busy until the last stop bit is out.
        if cfg!(feature = "top") && self.drive != 0 && flags.busy().bit_is_clear() && flags.txfe().bit_is_set() {
            crate::pins::drive(self.drive, false);
        }
        Ok(flags.rxfe().bit_is_clear())
    }
}

impl Read for Uart {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut count = 0;
        for place in bytes {
            let Some(byte) = self.take() else { break };
            *place = byte;
            count += 1;
        }
        Ok(count)
    }
}

impl WriteReady for Uart {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.block.uartfr().read().txff().bit_is_clear())
    }
}

impl Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        Ok(bytes.iter().take_while(|byte| self.put(**byte)).count())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
