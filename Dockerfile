# A static binary and the certificates it needs to know a broker by; nothing
# else, and not root.
ARG GO_IMAGE=docker.io/library/golang:1.26-bookworm
FROM ${GO_IMAGE} AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY cmd cmd
COPY policy policy
COPY service service
ARG VERSION=dev
RUN CGO_ENABLED=0 go build -trimpath -ldflags "-s -w -X main.version=${VERSION}" -o /out/rhizostat ./cmd/rhizostat
RUN mkdir -p /out/ledger

FROM scratch
COPY --from=build /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/ca-certificates.crt
COPY --from=build /out/rhizostat /rhizostat
COPY --from=build --chown=65532:65532 /out/ledger /ledger
USER 65532:65532
ENV RHIZOSTAT_SITES=/sites RHIZOSTAT_LEDGER=/ledger/rhizostat.db RHIZOSTAT_HTTP=:9187
EXPOSE 9187
VOLUME /ledger
ENTRYPOINT ["/rhizostat"]
CMD ["run"]
