//! Numbers as binary files hold them.

/// A kind of number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Number {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    I64,
    U64,
    F32,
    F64,
}

impl Number {
    /// By its name in VTK's legacy format.
    pub fn of_legacy(name: &str) -> Option<Number> {
        Some(match name {
            "char" => Number::I8,
            "unsigned_char" => Number::U8,
            "short" => Number::I16,
            "unsigned_short" => Number::U16,
            "int" | "vtkIdType" => Number::I32,
            "unsigned_int" => Number::U32,
            "long" | "vtktypeint64" => Number::I64,
            "unsigned_long" => Number::U64,
            "float" => Number::F32,
            "double" => Number::F64,
            _ => return None,
        })
    }

    /// By its name in VTK's XML format.
    pub fn of_xml(name: &str) -> Option<Number> {
        Some(match name {
            "Int8" => Number::I8,
            "UInt8" => Number::U8,
            "Int16" => Number::I16,
            "UInt16" => Number::U16,
            "Int32" => Number::I32,
            "UInt32" => Number::U32,
            "Int64" => Number::I64,
            "UInt64" => Number::U64,
            "Float32" => Number::F32,
            "Float64" => Number::F64,
            _ => return None,
        })
    }

    /// Bytes of a number.
    pub fn size(self) -> usize {
        match self {
            Number::I8 | Number::U8 => 1,
            Number::I16 | Number::U16 => 2,
            Number::I32 | Number::U32 | Number::F32 => 4,
            Number::I64 | Number::U64 | Number::F64 => 8,
        }
    }

    /// The numbers in `bytes`, whose length is a multiple of the size.
    pub fn all(self, bytes: &[u8], big_endian: bool) -> Vec<f64> {
        fn ordered<const N: usize>(chunk: &[u8], big_endian: bool) -> [u8; N] {
            let mut bytes: [u8; N] = chunk.try_into().expect("chunks of the number's size");
            if big_endian {
                bytes.reverse();
            }
            bytes
        }
        let one = |c: &[u8]| match self {
            Number::I8 => f64::from(i8::from_le_bytes(ordered(c, big_endian))),
            Number::U8 => f64::from(c[0]),
            Number::I16 => f64::from(i16::from_le_bytes(ordered(c, big_endian))),
            Number::U16 => f64::from(u16::from_le_bytes(ordered(c, big_endian))),
            Number::I32 => f64::from(i32::from_le_bytes(ordered(c, big_endian))),
            Number::U32 => f64::from(u32::from_le_bytes(ordered(c, big_endian))),
            Number::I64 => i64::from_le_bytes(ordered(c, big_endian)) as f64,
            Number::U64 => u64::from_le_bytes(ordered(c, big_endian)) as f64,
            Number::F32 => f64::from(f32::from_le_bytes(ordered(c, big_endian))),
            Number::F64 => f64::from_le_bytes(ordered(c, big_endian)),
        };
        bytes.chunks_exact(self.size()).map(one).collect()
    }
}
