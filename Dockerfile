# Builds the service, then keeps the binary alone on a small Debian.
FROM rust:1-bookworm AS build
WORKDIR /build
COPY . .
RUN cargo build --release --locked

FROM debian:bookworm-slim
# curl asks for the health of the service.
RUN apt-get update \
    && apt-get install -y --no-install-recommends ca-certificates curl \
    && rm -rf /var/lib/apt/lists/* \
    && useradd --system --uid 10001 --home-dir /data emberbook \
    && install -d -o emberbook -g emberbook -m 0700 /data
COPY --from=build /build/target/release/emberbook /usr/local/bin/emberbook
COPY LICENSE /usr/share/doc/emberbook/LICENSE
USER emberbook
VOLUME /data
EXPOSE 8080
ENTRYPOINT ["emberbook"]
CMD ["serve"]
